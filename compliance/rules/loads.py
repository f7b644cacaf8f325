"""The load rules: what each asks of a circuit, and the limits a rule pack may set.

One cause, one flag. What is left to which rule:

- a missing figure is said once per circuit, by ``circuit-unknown``; the rules that wanted it keep silent;
- a wire that no table reaches is said by ``wire-ampacity``; the rules that wanted its ampacity keep silent;
- no device at all is said by ``device-missing``, unless a device nearer the battery protects the wire as well;
- ``feed-sum`` speaks only where the feed's own figures pass: its own overload is said by its own rules.
"""

from __future__ import annotations

from compliance.models import Severity, SubjectKind
from compliance.rules.base import Limit, Rule
from shared.electrical.ampacity import (
    DEFAULT_BUNDLE_TABLE,
    DEFAULT_SMALL_WIRE_TABLE,
    DEFAULT_TABLE,
    ampacity_table_names,
    bundle_table_names,
)
from shared.electrical.protection import CONTINUOUS_LOAD_FRAC
from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source
from shared.electrical.tables.bundles import AMBIENT_FORM_SOURCE
from shared.electrical.tables.copper import DROP_SOURCE, SQUARE_LAW
from shared.electrical.tables.terminations import HOLE_SLACK_MM, HOLE_SLACK_SOURCE

TABLE_5 = Source("33 CFR 183.425", "Table 5, stranded copper, 30 C, single conductor", SEEN)
BUNDLES = Source("UL 1426 boat cable / ABYC E-11", "bundling multipliers", SEEN)
SMALL_WIRES = Source("FAA AC 43.13-1B CHG 1", "Table 11-9, for wires below 18 AWG", SEEN)
RMS = Source("Duty-cycle sizing", "I_rms = sqrt(sum(I^2 t) / T), window below the time constant", SEEN)
HEATING = Source("First-order heating of a conductor", "time constants computed", MEMORY)
RESISTANCE = Source("IEC 60028; FAA AC 43.13-1B CHG 1", "par. 11-66d, R(T) = R20 (234.5 + T) / 254.5", SEEN)
RATING = Source("NEC 240.4", "the device protects the conductor at its corrected ampacity", SEEN)
CEILING = Source("33 CFR 183.455(c)(1)", "below 50 V a device of at most 150 % of the ampacity", SEEN)
EIGHTY = Source("NEC 210.20(A)", "device of at least 125 % of the continuous load", SEEN)
INTERRUPT = Source("ABYC E-11", "Table V.A; the device must be able to break the fault current", SEEN)
FAULT = Source("Ohm's law", "I_f = V_oc / (R_int + 2 L R_wire)", SEEN)
OWN_POINTS = Source("The device's own time-current points", "as entered, with their status", SEEN)
PLACEMENT = Source("33 CFR 183.455", "every ungrounded conductor protected at its source", SEEN)
BARREL = Source("NASA-STD-8739.4", "wire size within the range stamped on the terminal", SEEN)
SUM = Source("Kirchhoff's current law", "a feed carries what its branches draw", SEEN)
CONVERTER = Source("Voltage regulators", "efficiency of a step-down converter", COMMON_PRACTICE)
OWN_CHOICE = Source("Our choice", "what is not known is said, never taken for good", COMMON_PRACTICE)


class LoadRule(Rule):
    """What all load rules share."""

    sweep = "loads"
    subject = SubjectKind.CIRCUIT


class WireAmpacity(LoadRule):
    code = "wire-ampacity"
    title = "Wire too thin for its current"
    severity = Severity.FIX
    asks = "Does the conductor carry its load without getting hotter than its insulation may?"
    formula = "effective current <= table ampacity x ambient factor x bundle factor x conductors in parallel"
    needs = ("wire type", "running current", "peak, duty and cycle if it peaks", "ambient", "bundle size")
    remedy = "Use a thicker wire, take it out of the bundle, or lower the load."
    limits = (
        Limit(
            "table", DEFAULT_TABLE, "", "Ampacity table that holds", TABLE_5, choices=ampacity_table_names()
        ),
        Limit(
            "bundle_table", DEFAULT_BUNDLE_TABLE, "", "Bundle factors", BUNDLES, choices=bundle_table_names()
        ),
        Limit(
            "small_wire_table",
            DEFAULT_SMALL_WIRE_TABLE,
            "",
            "Table for wires thinner than the first one lists",
            SMALL_WIRES,
            choices=("ac4313", "nasa_single"),
        ),
    )
    sources = (TABLE_5, AMBIENT_FORM_SOURCE, BUNDLES, SMALL_WIRES, RMS, HEATING)


class WireDrop(LoadRule):
    code = "wire-drop"
    title = "Too much voltage lost on the way"
    severity = Severity.FIX
    asks = "Does enough voltage arrive at the load while it draws its peak?"
    formula = "I_peak x 2 x length x R20 (234.5 + T) / 254.5 / conductors <= limit x nominal voltage"
    needs = ("wire type", "length", "running or peak current", "critical or not")
    remedy = "Shorten the run or use a thicker wire."
    limits = (
        Limit(
            "critical_frac",
            0.03,
            "frac",
            "Share of the nominal voltage, critical circuits",
            DROP_SOURCE,
            low=0.001,
            high=1,
        ),
        Limit(
            "other_frac",
            0.10,
            "frac",
            "Share of the nominal voltage, other circuits",
            DROP_SOURCE,
            low=0.001,
            high=1,
        ),
    )
    sources = (DROP_SOURCE, RESISTANCE, SQUARE_LAW)


class DeviceRating(LoadRule):
    code = "device-rating"
    title = "Device too large for its wire"
    severity = Severity.FIX
    asks = "Does the protective device open before the wire it protects gets too hot?"
    formula = "device rating <= allowed share x corrected ampacity x conductors in parallel"
    needs = ("protective device with its rating", "wire type", "ambient", "bundle size")
    remedy = (
        "Fit a smaller device or a thicker wire. Above one and a half times the ampacity: do not power it."
    )
    limits = (
        Limit(
            "allowed_frac", 1.0, "frac", "Rating as a share of the ampacity, at most", RATING, low=0.1, high=2
        ),
        Limit(
            "stop_frac",
            1.5,
            "frac",
            "Share above which the circuit must not be powered",
            CEILING,
            low=0.1,
            high=5,
        ),
    )
    sources = (RATING, CEILING, TABLE_5)


class DeviceLoad(LoadRule):
    code = "device-load"
    title = "Device loaded too near its rating"
    severity = Severity.WATCH
    asks = "Does the protective device carry its load without opening for nothing?"
    formula = "effective current <= share x device rating"
    needs = ("protective device with its rating", "running current", "peak, duty and cycle if it peaks")
    remedy = "Lower the load, or fit a larger device if the wire allows one."
    limits = (
        Limit(
            "load_frac",
            CONTINUOUS_LOAD_FRAC,
            "frac",
            "Share of the rating that may flow",
            EIGHTY,
            low=0.1,
            high=1.2,
        ),
    )
    sources = (EIGHTY, RMS)


class DevicePeak(LoadRule):
    code = "device-peak"
    title = "Peak may open the device"
    severity = Severity.WATCH
    asks = "Does the device stay closed while its load peaks?"
    formula = "duty x cycle <= shortest opening time at peak / rating, from the device's own points"
    needs = ("time-current points of the device", "peak current", "duty and cycle")
    remedy = "Shorten the peak, lower it, or fit a slower device of the same rating."
    sources = (OWN_POINTS,)


class DeviceInterrupt(LoadRule):
    code = "device-interrupt"
    title = "Device cannot break a short circuit"
    severity = Severity.STOP
    asks = "Can the device break the current this battery drives into a short circuit behind it?"
    formula = "V_full / (source resistance + wire out and back up to the device) <= interrupt rating"
    needs = ("interrupt rating", "source resistance of the build, or the battery's sheet")
    remedy = "Replace the device by one with a higher interrupt rating."
    sources = (INTERRUPT, FAULT)


class DeviceMissing(LoadRule):
    code = "device-missing"
    title = "No protective device"
    severity = Severity.STOP
    asks = "Is there a device at the source that opens before this wire gets too hot?"
    formula = "own device, or rating of the next device towards the battery <= corrected ampacity"
    needs = ("protective device", "wire type")
    remedy = "Fit a device at the source end, not larger than the wire's ampacity."
    sources = (PLACEMENT, RATING)


class TerminalBarrel(LoadRule):
    code = "terminal-barrel"
    title = "Wire does not fit the terminal"
    severity = Severity.FIX
    asks = "Does the wire lie within the range of the terminal's barrel, at both ends?"
    formula = "smallest <= conductor area <= largest of the barrel"
    needs = ("wire type", "terminals at both ends")
    remedy = "Crimp a terminal whose printed range holds this wire; do not fold or trim strands."
    sources = (BARREL,)


class TerminalHole(LoadRule):
    code = "terminal-hole"
    title = "Terminal does not fit the stud"
    severity = Severity.FIX
    asks = "Does the hole of the terminal pass the stud without room to walk?"
    formula = "stud <= hole <= stud + slack"
    needs = ("hole of the terminal", "stud it sits on")
    remedy = "Use a terminal made for this stud; never drill one out."
    limits = (
        Limit("slack_mm", HOLE_SLACK_MM, "mm", "How much wider the hole may be", HOLE_SLACK_SOURCE, high=5),
    )
    sources = (HOLE_SLACK_SOURCE,)


class FeedSum(LoadRule):
    code = "feed-sum"
    title = "Feed overloaded by its branches"
    severity = Severity.FIX
    asks = "Do the device and the wire of a feed carry what its branches draw together while running?"
    formula = "sum of the running currents fed through it <= rating of its device, ampacity of its wire"
    needs = ("fed from, for every branch", "running currents of the branches", "device and wire of the feed")
    remedy = "Move branches to another feed, or lower their loads."
    limits = (
        Limit("load_frac", 1.0, "frac", "Share of the device rating the sum may reach", SUM, low=0.1, high=2),
        Limit(
            "efficiency_frac", 0.85, "frac", "Efficiency of a voltage regulator", CONVERTER, low=0.1, high=1
        ),
    )
    sources = (SUM, RATING, CONVERTER)


class CircuitUnknown(LoadRule):
    code = "circuit-unknown"
    title = "Cannot be judged"
    severity = Severity.UNKNOWN
    asks = "Is everything known that the other checks need?"
    formula = (
        "wire, length, running current, terminals, studs, least voltage of controller and radio: all entered"
    )
    needs = ()
    remedy = "Measure or look up what is named and enter it."
    sources = (OWN_CHOICE,)


RULES: tuple[type[Rule], ...] = (
    WireAmpacity,
    WireDrop,
    DeviceRating,
    DeviceLoad,
    DevicePeak,
    DeviceInterrupt,
    DeviceMissing,
    TerminalBarrel,
    TerminalHole,
    FeedSum,
    CircuitUnknown,
)
