"""What would put a circuit right: the wire size to fit, the largest or smallest device, the longest run."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from compliance.rules.load_facts import LoadFacts
from compliance.rules.load_steps import fig
from compliance.rules.loads import DeviceLoad
from shared.electrical.gauges import format_size
from shared.electrical.sizing import smallest_area_for_current_mm2

NO_WIRE = "no single wire will do: use more in parallel, lower the load or shorten the run"


@lru_cache(maxsize=10_000)
def _area_for_current_mm2(
    current_a: float, class_c: float, ambient_c: float, bundle: float, table: str, bundle_table: str
) -> float:
    """The smallest area for a current; kept, for a league's circuits ask the same few questions."""
    return float(
        smallest_area_for_current_mm2(
            current_a, class_c, ambient_c, bundle, table=table, bundle_table=bundle_table
        )
    )


def wire_for(f: LoadFacts, i: int, current_a: float) -> str:
    """The smallest wire that carries this current where the circuit lies, and keeps its drop as well."""
    share = 1.0 / float(f.parallel[i])
    table, bundle_table, _ = f.tables[f.pack[i]]
    where = (float(f.class_c[i]), float(f.ambient_c[i]), float(f.bundle[i]))
    area = _area_for_current_mm2(current_a * share, *where, table, bundle_table)
    if f.drop_v[i] > 0:
        area = float(np.maximum(area, f.area_for_drop_mm2[i]))
    return f"fit {format_size(area)}" if np.isfinite(area) else NO_WIRE


def for_thin_wire(f: LoadFacts, i: int) -> str:
    """A wire for the load that its device protects too."""
    return _sentence(wire_for(f, i, float(np.fmax(f.load.current_a[i], f.rating_a[i]))))


def for_drop(f: LoadFacts, i: int) -> str:
    """A thicker wire, or the length at which this one will do."""
    limit_v = float(f.drop_limit_frac[i] * f.nominal_v[i])
    longest = np.floor(100 * float(f.length_m[i]) * limit_v / float(f.drop_v[i])) / 100
    wire = wire_for(f, i, float(np.fmax(f.load.current_a[i], f.rating_a[i])))
    return _sentence(f"{wire}, or come down to {fig(longest)} m")


def for_large_device(f: LoadFacts, i: int, largest_a: float) -> str:
    """A smaller device, where it still carries the load; a wire that goes with this one."""
    wire = wire_for(f, i, float(f.rating_a[i]))
    least = smallest_device_a(f, i)
    if least <= largest_a:
        return _sentence(f"fit a device between {fig(least)} and {fig(largest_a)} A, or {wire}")
    return _sentence(wire if np.isfinite(least) else f"fit at most {fig(largest_a)} A, or {wire}")


def for_small_device(f: LoadFacts, i: int) -> str:
    """A larger device, and a wire that goes with it where this one does not."""
    least = smallest_device_a(f, i)
    more = "" if not least > f.ampacity_a[i] else f"; its wire then is too thin: {wire_for(f, i, least)}"
    return _sentence(f"fit at least {fig(least)} A{more}")


def smallest_device_a(f: LoadFacts, i: int) -> float:
    """The least rating that carries the steady load; NaN where that is not known."""
    return float(f.load.current_a[i] / f.column(DeviceLoad, "load_frac")[i])


def _sentence(text: str) -> str:
    return f" {text[0].upper()}{text[1:]}."
