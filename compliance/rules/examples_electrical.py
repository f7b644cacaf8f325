"""Worked examples of the wiring rules, computed by the functions that judge: nothing here is typed in."""

from __future__ import annotations

from typing import Any, Final

from compliance.rules.base import step, working
from shared.electrical.ampacity import (
    DEFAULT_TABLE,
    ambient_factor,
    bundle_factor,
    corrected_ampacity_a,
    table_ampacity_a,
)
from shared.electrical.arrays import Verdict, at_most
from shared.electrical.conductors import (
    conductor_temperature_c,
    drop_frac,
    drop_limit_frac,
    resistance_20c_ohm_per_m,
    resistance_at_c,
    voltage_drop_v,
)
from shared.electrical.gauges import parse_size
from shared.electrical.loads import LOAD_BASIS_TEXT, LoadBasis, effective_load
from shared.electrical.protection import (
    CONTINUOUS_LOAD_FRAC,
    continuous_load_check,
    interrupt_check,
    opening_time_s,
    prospective_fault_a,
    rating_check,
)
from shared.electrical.sizing import smallest_area_for_current_mm2
from shared.electrical.sources import Source
from shared.electrical.tables.ampacity import AMPACITY_TABLES
from shared.electrical.tables.bundles import AMBIENT_SOURCE, BUNDLE_TABLES
from shared.electrical.tables.copper import (
    DROP_SOURCE,
    INFERRED_ZERO_C,
    LAY_FACTOR,
    RESISTIVITY_OHM_MM2_PER_M,
)
from shared.electrical.tables.protection import AIC_SOURCE, CURVES
from shared.electrical.tables.sizes import AWG_SOURCE
from shared.electrical.tables.terminations import HOLE_SLACK_MM, HOLE_SLACK_SOURCE
from shared.electrical.terminations import barrel_check, hole_check
from shared.electrical.thermal import time_constant_s

SIZE: Final = "12 AWG"
CLASS_C: Final = 105.0
AMBIENT_C: Final = 40.0
BUNDLED: Final = 3
LENGTH_M: Final = 2.0
STEADY_A: Final = 10.0
PEAK_A: Final = 40.0
DUTY_FRAC: Final = 0.25
CYCLE_S: Final = 4.0
RATING_A: Final = 30.0
SYSTEM_V: Final = 12.0
REST_V: Final = 12.6
INTERNAL_MOHM: Final = 15.0
PATH_MOHM: Final = 5.0
INTERRUPT_A: Final = 1000.0

OHM: Final = Source("Ohm's law", "round trip, out and back", "seen")
CODE: Final = Source("NEC 240.4; IEC 60364-4-43", "433.1", "seen")
CONTINUOUS: Final = Source("NEC 210.20(A)", "device at least 125 % of the continuous load", "seen")
HEATING: Final = Source(
    "Duty RMS with its window", "first-order heating, derived beside the function", "common practice"
)
BARREL: Final = Source("NASA-STD-8739.4", "wire size within the range stamped on the terminal", "seen")
KIRCHHOFF: Final = Source("Kirchhoff's current law", "a feed carries what its branches draw", "seen")
OWN: Final = Source("Our choice", "cannot judge is an answer of its own", "common practice")


def _area() -> float:
    return parse_size(SIZE).area_mm2


def _ampacity() -> float:
    return float(corrected_ampacity_a(_area(), CLASS_C, AMBIENT_C, BUNDLED))


def _load() -> Any:
    return effective_load(STEADY_A, PEAK_A, DUTY_FRAC, CYCLE_S, time_constant_s(_area()))


def _limit(label: str, value: float, unit: str) -> dict[str, Any]:
    return {"label": label, "name": label, "value": value, "unit": unit}


def ampacity() -> dict[str, Any]:
    """12 AWG among three loaded conductors at 40 C."""
    area, table = _area(), AMPACITY_TABLES[DEFAULT_TABLE]
    listed = float(table_ampacity_a(area, CLASS_C))
    ambient = float(ambient_factor(AMBIENT_C, CLASS_C, table.base_ambient_c))
    bundle = float(bundle_factor(BUNDLED))
    allowed, load = _ampacity(), float(_load().current_a)
    thinnest = float(smallest_area_for_current_mm2(load, CLASS_C, AMBIENT_C, BUNDLED))
    verdict = "carries it" if load <= allowed else f"is too thin; {thinnest:.2f} mm2 would carry it"
    return working(
        [
            step("Area", "d = 0.127 mm x 92^((36 - n) / 39); A = pi d^2 / 4", SIZE, area, "mm2"),
            step("Listed", f"{table.title}, column {CLASS_C:g} C", SIZE, listed, "A"),
            step("Ambient", "sqrt((class - ambient) / (class - base))",
                 f"class {CLASS_C:g} C, ambient {AMBIENT_C:g} C, base {table.base_ambient_c:g} C", ambient),
            step("Bundle", "by loaded conductors lying together", f"{BUNDLED} conductors", bundle),
            step("Allowed", "listed x ambient x bundle", f"{listed:g} A x {ambient:g} x {bundle:g}", allowed, "A"),
            step("Load", "duty RMS, see the rule on loads", f"{STEADY_A:g} A, peaks of {PEAK_A:g} A", load, "A"),
        ],
        limit=_limit("allowed current", allowed, "A"),
        conclusion=f"{load:.1f} A against {allowed:.1f} A: {SIZE} {verdict}.",
        sources=(AWG_SOURCE, table.source, AMBIENT_SOURCE, BUNDLE_TABLES["abyc_e11"].source),
    )  # fmt: skip


def duty() -> dict[str, Any]:
    """10 A with peaks of 40 A for a quarter of each 4 s."""
    tau = float(time_constant_s(_area()))
    load = _load()
    basis = LOAD_BASIS_TEXT[LoadBasis(int(load.basis))]
    return working(
        [
            step("Time constant", "how slowly the conductor warms", f"{SIZE}, {_area():.3f} mm2", tau, "s"),
            step("Window", "an RMS counts while the cycle is short against it", f"cycle {CYCLE_S:g} s", basis),
            step("Load", "sqrt(d Ip^2 + (1 - d) Ic^2)",
                 f"Ip = {PEAK_A:g} A; Ic = {STEADY_A:g} A; d = {DUTY_FRAC:g}", float(load.current_a), "A"),
        ],
        limit=None,
        conclusion=f"It heats the wire like a steady {float(load.current_a):.1f} A.",
        sources=(HEATING,),
    )  # fmt: skip


def drop() -> dict[str, Any]:
    """The peak of the same load over 2 m, one way."""
    load = float(_load().current_a)
    at_20 = float(resistance_20c_ohm_per_m(_area()))
    warm = float(conductor_temperature_c(load, _ampacity(), AMBIENT_C, CLASS_C))
    ohm_per_m = float(resistance_at_c(at_20, warm))
    volts = float(voltage_drop_v(PEAK_A, ohm_per_m, LENGTH_M))
    share, limit = float(drop_frac(volts, SYSTEM_V)), float(drop_limit_frac(False))
    rho, lay = RESISTIVITY_OHM_MM2_PER_M, LAY_FACTOR
    return working(
        [
            step("Resistance at 20 C", "rho x lay / A",
                 f"rho = {rho.value:g} ohm mm2/m; lay = {lay.value:g}; A = {_area():.3f} mm2", 1000 * at_20, "mΩ/m"),
            step("Conductor temperature", "Ta + (Tr - Ta) (I / Ir)^2",
                 f"Ta = {AMBIENT_C:g} C; Tr = {CLASS_C:g} C; I = {load:.1f} A; Ir = {_ampacity():.1f} A", warm, "C"),
            step("Resistance warm", "R20 (234.5 + T) / 254.5", f"T = {warm:.1f} C", 1000 * ohm_per_m, "mΩ/m"),
            step("Drop at the peak", "I x 2 x length x R", f"I = {PEAK_A:g} A; length = {LENGTH_M:g} m", volts, "V"),
            step("Of the system", "drop / nominal voltage", f"{SYSTEM_V:g} V", 100 * share, "%"),
        ],
        limit=_limit("circuit that is not critical", 100 * limit, "%"),
        conclusion=f"{share:.1%} against {limit:.0%}: {'in order' if share <= limit else 'too much'}.",
        sources=(rho.source, lay.source, INFERRED_ZERO_C.source, OHM, DROP_SOURCE),
    )  # fmt: skip


def rating() -> dict[str, Any]:
    """A 30 A device on that wire."""
    allowed = _ampacity()
    held = rating_check(RATING_A, allowed) == Verdict.HOLDS
    return working(
        [
            step("Allowed current of the wire", "as under ampacity", SIZE, allowed, "A"),
            step("Rating", "rating <= allowed current", f"{RATING_A:g} A <= {allowed:.1f} A", "yes" if held else "no"),
        ],
        limit=_limit("allowed current of the wire", allowed, "A"),
        conclusion=f"A {RATING_A:g} A device {'protects' if held else 'does not protect'} this wire.",
        sources=(CODE,),
    )  # fmt: skip


def continuous() -> dict[str, Any]:
    """10 A steady through a 30 A device."""
    held = continuous_load_check(STEADY_A, RATING_A) == Verdict.HOLDS
    limit = RATING_A * CONTINUOUS_LOAD_FRAC
    return working(
        [step("Continuous load", f"load <= {CONTINUOUS_LOAD_FRAC:g} x rating", f"{STEADY_A:g} A <= {limit:g} A",
              "yes" if held else "no")],
        limit=_limit("continuous load", limit, "A"),
        conclusion=f"{STEADY_A:g} A {'will not' if held else 'may'} open a {RATING_A:g} A device for no reason.",
        sources=(CONTINUOUS,),
    )  # fmt: skip


def interrupt() -> dict[str, Any]:
    """A dead short close to a battery of 15 milliohm."""
    fault = float(prospective_fault_a(REST_V, INTERNAL_MOHM, PATH_MOHM))
    held = interrupt_check(INTERRUPT_A, fault) == Verdict.HOLDS
    return working(
        [
            step("Prospective fault", "V / (R battery + R path)",
                 f"V = {REST_V:g} V; R battery = {INTERNAL_MOHM:g} mΩ; R path = {PATH_MOHM:g} mΩ", fault, "A"),
            step("Interrupt rating", "rating >= fault", f"{INTERRUPT_A:g} A >= {fault:.0f} A", "yes" if held else "no"),
        ],
        limit=_limit("interrupt rating", INTERRUPT_A, "A"),
        conclusion=f"A short draws {fault:.0f} A; the device {'breaks' if held else 'may not break'} it.",
        sources=(OHM, AIC_SOURCE),
    )  # fmt: skip


def peak() -> dict[str, Any]:
    """A 60 A peak of one second through a 30 A blade fuse."""
    high_a, lasts_s = 60.0, 1.0
    multiple = high_a / RATING_A
    band = opening_time_s(multiple, "blade")
    soonest = float(band.min_s)
    stays = lasts_s <= soonest
    return working(
        [
            step("Multiple of the rating", "peak / rating", f"{high_a:g} A / {RATING_A:g} A", multiple),
            step("Opens at the soonest after", "points of the device, log-log between them",
                 CURVES["blade"].title, soonest, "s"),
            step("Peak lasts", "duty x cycle", f"{lasts_s:g} s", "shorter" if stays else "longer"),
        ],
        limit=_limit("soonest opening", soonest, "s"),
        conclusion="The device stays closed." if stays else "A quick device of this kind may open.",
        sources=(CURVES["blade"].source,),
    )  # fmt: skip


def missing() -> dict[str, Any]:
    """A thin wire taken off behind a device made for the thick one."""
    thin = "18 AWG"
    allowed = float(corrected_ampacity_a(parse_size(thin).area_mm2, CLASS_C, AMBIENT_C, BUNDLED))
    held = rating_check(RATING_A, allowed) == Verdict.HOLDS
    return working(
        [
            step("Next device towards the battery", "its rating", "", RATING_A, "A"),
            step("Allowed current of the branch", "as under ampacity", thin, allowed, "A"),
            step("Protected by it", "rating <= allowed current", f"{RATING_A:g} A <= {allowed:.1f} A",
                 "yes" if held else "no"),
        ],
        limit=_limit("allowed current of the branch", allowed, "A"),
        conclusion="The device upstream protects the branch as well."
        if held
        else "The branch needs a device of its own at the point where the wire gets thinner.",
        sources=(CODE,),
    )  # fmt: skip


def feed() -> dict[str, Any]:
    """Three branches behind one 30 A device."""
    branches = (STEADY_A, STEADY_A, 2.5)
    total = sum(branches)
    held = at_most(total, RATING_A) == Verdict.HOLDS
    return working(
        [
            step("Branches", "sum of the running currents", " + ".join(f"{a:g} A" for a in branches), total, "A"),
            step("Device of the feed", "sum <= rating", f"{total:g} A <= {RATING_A:g} A", "yes" if held else "no"),
        ],
        limit=_limit("rating of the feed's device", RATING_A, "A"),
        conclusion=f"The feed {'carries' if held else 'does not carry'} its branches while they run.",
        sources=(KIRCHHOFF, CONTINUOUS),
    )  # fmt: skip


def unknown() -> dict[str, Any]:
    """A load of which no current is entered."""
    load = effective_load(float("nan"), float("nan"), DUTY_FRAC, CYCLE_S, time_constant_s(_area()))
    verdict = at_most(load.current_a, _ampacity())
    return working(
        [
            step("Load", "duty RMS", "running and peak current not entered",
                 LOAD_BASIS_TEXT[LoadBasis(int(load.basis))]),
            step("Verdict", "load <= allowed current", f"unknown <= {_ampacity():.1f} A",
                 "cannot judge" if verdict == Verdict.UNKNOWN else "judged"),
        ],
        limit=None,
        conclusion="What is not known is said, never taken for good.",
        sources=(OWN,),
    )  # fmt: skip


def barrel() -> dict[str, Any]:
    """12 AWG in a terminal stamped 12-10."""
    low, high = parse_size("12 AWG").area_mm2, parse_size("10 AWG").area_mm2
    held = barrel_check(_area(), low, high) == Verdict.HOLDS
    return working(
        [step("Barrel", "thinnest <= wire <= thickest", f"{low:.3f} <= {_area():.3f} <= {high:.3f} mm2",
              "yes" if held else "no")],
        limit=_limit("thickest wire of the barrel", high, "mm2"),
        conclusion=f"{SIZE} {'lies within' if held else 'is outside'} the range of the terminal.",
        sources=(BARREL, AWG_SOURCE),
    )  # fmt: skip


def hole() -> dict[str, Any]:
    """A ring with a 6.4 mm hole on a 6 mm stud."""
    stud, wide = 6.0, 6.4
    held = hole_check(stud, wide) == Verdict.HOLDS
    return working(
        [step("Hole", "stud <= hole <= stud + slack", f"{stud:g} <= {wide:g} <= {stud + HOLE_SLACK_MM:g} mm",
              "yes" if held else "no")],
        limit=_limit("widest hole", stud + HOLE_SLACK_MM, "mm"),
        conclusion=f"A {wide:g} mm hole {'fits' if held else 'does not fit'} a {stud:g} mm stud.",
        sources=(HOLE_SLACK_SOURCE,),
    )  # fmt: skip
