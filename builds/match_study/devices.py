"""How protective devices warm during a match: what they hold for ever, and how slow they are, by their own figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builds.electrical import CircuitColumns
from inventory.models import ProtectiveDevice
from shared.columns import FloatArray, IdArray
from shared.electrical.match import device_heat_tau_s
from shared.electrical.sources import MEMORY, Source
from shared.electrical.tables.protection import CurvePoint, TimeCurrentCurve

_BY_HEAT = frozenset(
    form.value
    for form in (ProtectiveDevice.Form.BLADE, ProtectiveDevice.Form.BOLT, ProtectiveDevice.Form.THERMAL)
)
_OWN = Source("The device's own time-current points", "", MEMORY)


@dataclass(frozen=True)
class DeviceHeat:
    """Per circuit asked for: the current its device carries for ever, and its time constant; NaN: not judged."""

    holds_a: FloatArray
    tau_s: FloatArray


def device_heat(rows: CircuitColumns, at: IdArray) -> DeviceHeat:
    """Of the circuits ``at``; a time constant that was entered comes before one worked out from the points."""
    devices = rows.devices
    by_heat = devices.is_one_of("form", _BY_HEAT)
    ids = rows.circuits.ids("device_id")
    rating, entered = devices.floats("rating_a"), devices.floats("heat_s")
    curves = _curves(rows, {int(pk) for pk in ids[at].tolist()})
    holds, tau = np.full(at.size, np.nan), np.full(at.size, np.nan)
    for place, i in enumerate(at.tolist()):
        if not by_heat[i]:
            continue
        multiple, curve = curves.get(int(ids[i]), (1.0, None))
        holds[place] = rating[i] * multiple
        tau[place] = entered[i] if not np.isnan(entered[i]) else device_heat_tau_s(curve)
    return DeviceHeat(holds, tau)


def _curves(rows: CircuitColumns, wanted: set[int]) -> dict[int, tuple[float, TimeCurrentCurve | None]]:
    """Device -> the multiple it holds (a point that states no time), and its curve where it has points above that."""
    points = rows.points
    columns = (points.floats(name).tolist() for name in ("multiple", "opens_min_s", "opens_max_s"))
    found: dict[int, list[tuple[float, float, float]]] = {}
    for device, *point in zip(points.ids("device_id").tolist(), *columns, strict=True):
        if device in wanted:
            found.setdefault(device, []).append((point[0], point[1], point[2]))
    return {device: _curve(sorted(own)) for device, own in found.items()}


def _curve(own: list[tuple[float, float, float]]) -> tuple[float, TimeCurrentCurve | None]:
    holds = max([1.0, *(multiple for multiple, low, high in own if np.isnan(low) and np.isnan(high))])
    points = tuple(
        CurvePoint(multiple, low, np.inf if np.isnan(high) else high)
        for multiple, low, high in own
        if multiple > holds and low > 0
    )
    return holds, TimeCurrentCurve("own", "", _OWN, holds, points) if points else None
