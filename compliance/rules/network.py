"""The rules of the robot as one circuit: what each asks, and the limits a rule pack may set.

One cause, one flag. What is left to which rule:

- ``supply-collapse`` speaks where the network has no solution; then nothing that would come of one is said;
- ``board-sag`` speaks of the board as a whole; ``load-voltage`` of one load that lacks voltage although the board has
  enough for it, and gives way to ``wire-drop`` on the load's own wire;
- ``wire-hot`` and ``main-trip`` speak of what branches pull together in a push, where each circuit's own figures and
  the running sums pass (``wire-ampacity``, ``device-load``, ``feed-sum``);
- ``fault-slow`` speaks where a short at the far end draws too little, ``fault-withstand`` of any other current up to
  the largest; both give way to ``device-rating`` and ``device-missing``, which are the same cause;
- a device without points of its own is named once per build, by ``device-points``, and silent everywhere else;
- a circuit left out of the network is said by ``circuit-unknown`` for want of its own figures, else by ``network-gap``;
- behind a regulator a short draws what the regulator gives, so no pair of devices is compared across one. For
  ``device-interrupt`` alone it counts as a wire: a converter that fails may pass its whole input.
"""

from __future__ import annotations

from compliance.models import Severity, SubjectKind
from compliance.rules.base import Limit, Rule
from compliance.rules.loads import FAULT, OWN_CHOICE, OWN_POINTS, TABLE_5, LoadRule
from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source
from shared.electrical.tables.copper import SQUARE_LAW
from shared.electrical.tables.thermal import ADIABATIC_SOURCE, SHORT_TIME_SOURCE

KIRCHHOFF = Source("Kirchhoff's laws", "the whole feed tree solved as one circuit", SEEN)
PUSH = Source("The push", "the two heaviest mechanisms at their peak, the rest running", COMMON_PRACTICE)
MARGIN = Source("Margin above the voltage at which electronics reset", "half a volt", COMMON_PRACTICE)
RMS_OF_PUSH = Source("Duty-cycle sizing", "I_rms = sqrt(d I_push^2 + (1 - d) I_running^2)", SEEN)
OVERLOAD = Source("IEC 60364-4-43", "433.1, I2 <= 1.45 Iz; 434.5.2, I2t <= k2S2", SEEN)
COORDINATION = Source(
    "NEC Article 100", "coordination, selective: the device nearest the fault opens first", SEEN
)
BREAKER_FIRST = Source("AC 43.13-1B", "par. 11-48, the breaker opens before the wire is damaged", SEEN)
TIRED = Source(
    "A battery due to be retired, nearly empty", "1.6 times its first resistance, 12.0 V", COMMON_PRACTICE
)
MINIMUM = Source("Minimal wiring of a robot", "", COMMON_PRACTICE)
RADIO = Source("Feed of the radio", "over its data cable from a regulated supply, or twice", COMMON_PRACTICE)
CONVENTIONAL = Source("Thermal breakers", "hold their rating, trip on its heating over time", MEMORY)


class NetworkRule(LoadRule):
    """A rule that looks at the whole robot; its subject is a circuit unless it says otherwise."""


class SupplyCollapse(NetworkRule):
    code = "supply-collapse"
    title = "The loads ask more than the battery can give"
    subject = SubjectKind.BUILD
    severity = Severity.STOP
    asks = "Is there any voltage at which battery, wires and loads agree?"
    formula = "V_battery - I x R = V_load, I = P / V_load, has a solution while running and in a push"
    needs = ("battery model", "wires and lengths", "running and peak currents")
    remedy = (
        "Lower the loads, set current limits in the motor controllers, or thicken the wires of the main path."
    )
    sources = (KIRCHHOFF, PUSH)


class BoardSag(NetworkRule):
    code = "board-sag"
    title = "Board voltage too low in a push"
    subject = SubjectKind.BUILD
    severity = Severity.FIX
    asks = "Does the distribution board keep enough voltage for the main controller while the robot pushes?"
    formula = "voltage at the board in the push >= least voltage of the controller + margin"
    needs = ("battery model", "main circuit", "least voltage of the main controller", "peak currents")
    remedy = "Set current limits in the drive motors' controllers, thicken the main leads, or fit a fresher battery."
    limits = (
        Limit("margin_v", 0.5, "V", "Voltage to spare above the controller's least", MARGIN, high=5),
        Limit("mechanisms", 2, "", "Mechanisms that peak at once in a push", PUSH, low=0, high=20),
    )
    sources = (KIRCHHOFF, PUSH, MARGIN)


class LoadVoltage(NetworkRule):
    code = "load-voltage"
    title = "Too little voltage arrives in a push"
    severity = Severity.FIX
    asks = "Does every load keep its least voltage while the robot pushes?"
    formula = (
        "voltage at the load in the push, over everything it shares with others >= least voltage of the load"
    )
    needs = ("least voltage of the component", "wires, lengths and currents of the whole robot")
    remedy = "Feed it from the board itself, or thicken the shared wire named."
    sources = (KIRCHHOFF, PUSH)


class WireHot(NetworkRule):
    code = "wire-hot"
    title = "Shared wire too hot in use"
    severity = Severity.FIX
    asks = "Does a wire that feeds several branches stay below the limit of its insulation over pushes and rests?"
    formula = "ambient + (class - ambient) (I_rms / ampacity)^2 <= class, I_rms of the solved currents"
    needs = ("wire of the feed", "peaks, duty and cycle of its branches")
    remedy = "Thicken the shared wire or move a branch to another feed."
    sources = (KIRCHHOFF, RMS_OF_PUSH, TABLE_5, SQUARE_LAW)


class MainTrip(NetworkRule):
    code = "main-trip"
    title = "Main breaker may trip in use"
    severity = Severity.FIX
    asks = "Does the main breaker stay closed over pushes and rests, and through the longest push?"
    formula = "I_rms of the solved currents <= current it holds; longest push <= its shortest opening time"
    needs = (
        "main circuit with its device",
        "peaks, duty and cycle of the mechanisms",
        "points of the device",
    )
    remedy = "Set current limits in the motor controllers, shorten the pushes, or move loads."
    sources = (KIRCHHOFF, RMS_OF_PUSH, OWN_POINTS, CONVENTIONAL)


class FaultWithstand(NetworkRule):
    code = "fault-withstand"
    title = "Short circuit damages the wire first"
    severity = Severity.FIX
    asks = "Does the device open before a short circuit overheats the wire, at every current the battery can drive?"
    formula = (
        "longest opening time <= k^2 S^2 / I^2 (beyond 5 s: first-order heating; never up to 1.45 x ampacity)"
    )
    needs = ("points of the device", "wire type", "source resistance")
    remedy = "Fit a quicker or smaller device, or a thicker wire."
    sources = (ADIABATIC_SOURCE, SHORT_TIME_SOURCE, OVERLOAD, BREAKER_FIRST, OWN_POINTS, FAULT)


class FaultSlow(NetworkRule):
    code = "fault-slow"
    title = "Short at the far end opens nothing in time"
    severity = Severity.FIX
    asks = "Does a short at the far end of a hot wire, on a tired battery, draw enough to open the device in time?"
    formula = "longest opening time at V_tired / (R_tired + R_path hot) <= time the wire bears that current"
    needs = ("points of the device", "wire type and length", "source resistance")
    remedy = "Fit a smaller device, or shorten or thicken the wire."
    limits = (
        Limit(
            "tired_frac",
            1.6,
            "",
            "Resistance of the oldest battery in use, against new",
            TIRED,
            low=1,
            high=5,
        ),
        Limit("tired_v", 12.0, "V", "Rest voltage of a battery nearly empty", TIRED, low=6, high=60),
    )
    sources = (ADIABATIC_SOURCE, SHORT_TIME_SOURCE, OVERLOAD, OWN_POINTS, FAULT, TIRED)


class Selectivity(NetworkRule):
    code = "selectivity"
    title = "Fault opens the wrong device"
    severity = Severity.FIX
    asks = "Does this device stay closed until the one nearest a short circuit behind it has opened?"
    formula = (
        "longest opening time of each device behind it < its own shortest, at every current up to the fault"
    )
    needs = ("points of both devices", "source resistance")
    remedy = "Fit a slower or larger device here, or quicker or smaller ones behind it."
    sources = (COORDINATION, OWN_POINTS, FAULT)


class DevicePoints(NetworkRule):
    code = "device-points"
    title = "Devices without time-current points"
    subject = SubjectKind.BUILD
    severity = Severity.UNKNOWN
    asks = "Is it known how quickly each device opens, up to the largest current that can flow through it?"
    formula = "points of the device's own sheet: no curve is taken for typical"
    remedy = "Enter the points of the devices named, with where they come from."
    sources = (OWN_CHOICE, OWN_POINTS)


class NetworkGap(NetworkRule):
    code = "network-gap"
    title = "Circuits missing from the network"
    subject = SubjectKind.BUILD
    severity = Severity.UNKNOWN
    asks = "Does every circuit of the robot have its place in the network that is solved?"
    formula = "a way to the battery; an output voltage for every regulator on it"
    remedy = "Enter what is named: until then what they draw counts for nothing."
    sources = (OWN_CHOICE,)


class WiringMinimum(NetworkRule):
    code = "wiring-minimum"
    title = "Something every robot needs is missing"
    subject = SubjectKind.BUILD
    severity = Severity.FIX
    asks = "Is everything there that a robot needs to start: battery, main breaker, board, controller, radio ...?"
    formula = "battery, main breaker, distribution board, main controller, radio, status beacon, a motor, a data bus"
    remedy = "Enter the circuit that is missing, or fit it if the robot lacks it too."
    sources = (MINIMUM,)


class RadioFeed(NetworkRule):
    code = "radio-feed"
    title = "Radio hangs on one friction plug"
    severity = Severity.WATCH
    asks = "Does the radio keep its supply when one plug shakes out?"
    formula = "two feeds, or one from a regulator over its data cable, none of them only a push-on plug"
    needs = ("terminal at the radio",)
    remedy = "Feed it over its data cable from a regulated supply, or by two independent feeds."
    sources = (RADIO,)


CIRCUIT_RULES: tuple[type[Rule], ...] = (
    LoadVoltage,
    WireHot,
    MainTrip,
    FaultWithstand,
    FaultSlow,
    Selectivity,
    RadioFeed,
)
BUILD_RULES: tuple[type[Rule], ...] = (
    SupplyCollapse,
    BoardSag,
    WiringMinimum,
    DevicePoints,
    NetworkGap,
)
RULES: tuple[type[Rule], ...] = (*BUILD_RULES, *CIRCUIT_RULES)
