"""The batteries a build is studied with: each in service as last measured, and a new one of the build's model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from builds.models import Build
from inventory.models import BatteryModel, CapacityTest
from inventory.selectors.battery_sources import USUAL_CURVES, BatterySource, battery_sources, rest_curve
from shared.access import Scope
from shared.electrical.match import MatchBattery
from shared.electrical.tables.battery import POLARISATION_RATIO, POLARISATION_S, REST_CURVE_SOURCES

#: Every match starts with a full battery.
CHARGE_FRAC = 1.0


@dataclass(frozen=True)
class StudyBattery:
    """One battery ready for the kernel; ``battery_id`` None stands for a new one of the build's model."""

    battery_id: int | None
    label: str
    kernel: MatchBattery
    words: str
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cart:
    """A team's batteries in service: those that can be studied, and why the others cannot."""

    batteries: tuple[StudyBattery, ...]
    unjudged: tuple[tuple[int, str, str], ...]  # id, code, reason


def cart_of(scope: Scope) -> Cart:
    """The batteries in service as last measured, in three queries."""
    sources = [source for source in battery_sources(scope) if source.in_service]
    capacity = tested_ah(scope)
    ready, unjudged = [], []
    for source in sources:
        reason = _unfit(source)
        if reason:
            unjudged.append((source.battery.pk, source.battery.code, reason))
        else:
            ready.append(_measured(source, capacity))
    return Cart(tuple(ready), tuple(unjudged))


def as_new(build: Build, internal_ohm: float) -> StudyBattery | None:
    """A new battery of the build's model; None where nothing tells what it is."""
    model = build.battery_model
    curve = rest_curve(model) if model else None
    if model is None or curve is None or not internal_ohm > 0:
        return None
    given = model.polarisation_mohm is not None and model.polarisation_s is not None
    return StudyBattery(
        battery_id=None,
        label=f"New {model.code}",
        kernel=MatchBattery(
            curve=curve,
            capacity_ah=model.capacity_ah,
            charge_frac=CHARGE_FRAC,
            internal_ohm=internal_ohm,
            polarisation_ohm=(model.polarisation_mohm or 0.0) / 1e3
            if given
            else POLARISATION_RATIO.value * internal_ohm,
            polarisation_s=(model.polarisation_s or 0.0) if given else POLARISATION_S.value,
        ),
        words=f"{internal_ohm * 1e3:.1f} mΩ as new, {model.capacity_ah:g} Ah as rated",
        assumptions=_assumptions(model),
    )


def _assumptions(model: BatteryModel) -> tuple[str, ...]:
    """What stands in for figures of the model that nobody entered."""
    said = []
    if not model.rest_curve:
        curve = REST_CURVE_SOURCES[USUAL_CURVES[model.chemistry]]
        said.append(
            f"Rest voltages of {model.code} not entered: a usual curve ({curve}), "
            f"from {model.full_rest_v:g} V when full."
        )
    if model.polarisation_mohm is None or model.polarisation_s is None:
        ratio, seconds = POLARISATION_RATIO, POLARISATION_S
        said.append(
            f"Polarisation of {model.code} not entered: {ratio.value:g} of its resistance ({ratio.source}), building "
            f"up over {seconds.value:g} s ({seconds.source})."
        )
    return tuple(said)


def tested_ah(scope: Scope) -> Mapping[int, float]:
    """Battery -> what its newest capacity test gave."""
    tests = scope.rows(CapacityTest).order_by("tested_at", "pk")
    return dict(tests.values_list("battery_id", "capacity_ah"))


def _unfit(source: BatterySource) -> str:
    if source.internal_ohm is None:
        return "it was never measured"
    if rest_curve(source.battery.model) is None:
        return "its model has no rest curve: enter voltages at rest against the state of charge"
    return ""


def _measured(source: BatterySource, tested_ah: Mapping[int, float]) -> StudyBattery:
    battery, ohm, curve = source.battery, source.internal_ohm, rest_curve(source.battery.model)
    assert ohm is not None
    assert curve is not None
    tested = tested_ah.get(battery.pk)
    capacity = tested or battery.model.capacity_ah
    how = "as tested" if tested else "as rated"
    return StudyBattery(
        battery_id=battery.pk,
        label=battery.code,
        kernel=MatchBattery(
            curve=curve,
            capacity_ah=capacity,
            charge_frac=CHARGE_FRAC,
            internal_ohm=ohm,
            polarisation_ohm=source.polarisation_ohm or 0.0,
            polarisation_s=source.polarisation_s or POLARISATION_S.value,
        ),
        words=f"{source.words}; {capacity:.1f} Ah {how}",
        assumptions=_assumptions(battery.model),
    )
