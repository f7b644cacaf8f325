"""Which function judges a battery by which rule."""

from __future__ import annotations

from collections.abc import Callable

from compliance.rules.base import Rule
from compliance.rules.batteries import (
    BatteryCapacity,
    BatteryIncidentOpen,
    BatteryRise,
    BatterySag,
    BatterySudden,
    BatteryTopUp,
    BatteryUnjudged,
    BatteryUse,
)
from compliance.rules.battery_care import incident_verdict, sag_verdict, topup_verdict
from compliance.rules.battery_judge import (
    Verdict,
    capacity_verdict,
    rise_verdict,
    sudden_verdict,
    unjudged_verdict,
    use_verdict,
)
from compliance.selectors.battery_book import BatteryCase

JUDGES: dict[type[Rule], Callable[[BatteryCase], Verdict]] = {
    BatteryRise: rise_verdict,
    BatterySudden: sudden_verdict,
    BatteryCapacity: capacity_verdict,
    BatteryUse: use_verdict,
    BatteryUnjudged: unjudged_verdict,
    BatterySag: sag_verdict,
    BatteryTopUp: topup_verdict,
    BatteryIncidentOpen: incident_verdict,
}
