"""Each battery as the source of a robot: what voltage it gives, and through which resistance, as last measured.

A battery that was never measured has no resistance here: what it can do cannot be judged, and no figure of a sheet
stands in for it. Direct-current readings come first, for they are what a robot pulls; the 1 kHz figure of a hand meter
leaves out what builds up under load.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from inventory.models import Battery, BatteryModel, BatteryState
from inventory.models.batteries import Method, Reading
from shared.access import Scope
from shared.electrical.battery import rest_voltage_v
from shared.electrical.tables.battery import POLARISATION_RATIO, POLARISATION_S, REST_CURVES

#: The best method first.
METHODS = (Method.TWO_PULSE, Method.LOAD_STEP, Method.AC_1KHZ)
#: A better method counts only if its reading is not older than the newest one by more than this (our choice).
SAME_SEASON = timedelta(days=180)
#: The built-in rest curve for a model that has none of its own; nothing stands in for lithium cells.
USUAL_CURVES = {
    BatteryModel.Chemistry.AGM.value: "agm_small",
    BatteryModel.Chemistry.GEL.value: "gel",
    BatteryModel.Chemistry.FLOODED.value: "flooded",
}


@dataclass(frozen=True)
class BatterySource:
    """One battery as a source; ``internal_ohm`` is None when it was never measured."""

    battery: Battery
    open_v: float
    internal_ohm: float | None
    method: str
    instrument: str
    taken_at: datetime | None
    rest_v: float | None
    polarisation_ohm: float | None
    polarisation_s: float | None

    @property
    def in_service(self) -> bool:
        return self.battery.state == BatteryState.IN_SERVICE

    @property
    def method_label(self) -> str:
        return str(Method(self.method).label) if self.method else ""

    @property
    def words(self) -> str:
        """Where the resistance comes from."""
        if self.internal_ohm is None or self.taken_at is None:
            return "never measured"
        more = ": more under load" if self.method == Method.AC_1KHZ else ""
        how = f"{self.method_label}{more}, {self.instrument}, {self.taken_at:%Y-%m-%d}"
        return f"{self.internal_ohm * 1e3:.1f} mΩ, {how}"


def battery_sources(scope: Scope, *, only: int | None = None) -> list[BatterySource]:
    """Every battery of the team that is not archived, by code (or one by its id), in two queries."""
    batteries = scope.rows(Battery).filter(archived=False).select_related("model").order_by("code")
    readings = scope.rows(Reading).filter(battery__archived=False).order_by("-taken_at", "-pk")
    if only is not None:
        batteries, readings = batteries.filter(pk=only), readings.filter(battery_id=only)
    found: dict[int, list[Reading]] = {}
    for reading in readings.only(
        "battery_id", "taken_at", "resistance_mohm", "method", "instrument", "rest_v"
    ):
        found.setdefault(reading.battery_id, []).append(reading)
    return [_source(battery, found.get(battery.pk, [])) for battery in batteries]


def _source(battery: Battery, readings: list[Reading]) -> BatterySource:
    """``readings``: of this battery, newest first."""
    chosen = _best(readings)
    ohm = chosen.resistance_mohm / 1e3 if chosen else None
    polarisation, seconds = _polarisation(battery, ohm)
    return BatterySource(
        battery=battery,
        open_v=full_rest_v(battery),
        internal_ohm=ohm,
        method=chosen.method if chosen else "",
        instrument=chosen.instrument if chosen else "",
        taken_at=chosen.taken_at if chosen else None,
        rest_v=next((r.rest_v for r in readings if r.rest_v is not None), None),
        polarisation_ohm=polarisation,
        polarisation_s=seconds,
    )


def _best(readings: list[Reading]) -> Reading | None:
    if not readings:
        return None
    recent = [r for r in readings if readings[0].taken_at - r.taken_at <= SAME_SEASON]
    rank = {method.value: place for place, method in enumerate(METHODS)}
    return min(recent, key=lambda r: rank[r.method])


def full_rest_v(battery: Battery) -> float:
    """Rest voltage when full: the top of the model's rest curve where that reaches full, else the model's figure."""
    top = [volts for charge, volts in battery.model.rest_curve if charge >= 1.0]
    return float(max(top, default=battery.model.full_rest_v))


def rest_curve(model: BatteryModel) -> tuple[tuple[float, float], ...] | None:
    """The model's own curve, else the usual one of its chemistry moved so that full is the model's full voltage."""
    if model.rest_curve:
        return tuple((float(charge), float(volts)) for charge, volts in model.rest_curve)
    usual = REST_CURVES.get(USUAL_CURVES.get(model.chemistry, ""), ())
    top = max((volts for _, volts in usual), default=0.0)
    return tuple((charge, model.full_rest_v + volts - top) for charge, volts in usual) or None


def rest_v_at(model: BatteryModel, charge_frac: float, full_v: float) -> float | None:
    """Rest voltage below full, never above that of a full battery; None below where the model's curve begins."""
    curve = rest_curve(model)
    if curve is None or charge_frac < min(charge for charge, _ in curve):
        return None
    return min(full_v, float(rest_voltage_v(charge_frac, curve)))


def _polarisation(battery: Battery, ohm: float | None) -> tuple[float | None, float | None]:
    model = battery.model
    if model.polarisation_mohm is not None and model.polarisation_s is not None:
        return model.polarisation_mohm / 1e3, model.polarisation_s
    return (None, None) if ohm is None else (POLARISATION_RATIO.value * ohm, POLARISATION_S.value)
