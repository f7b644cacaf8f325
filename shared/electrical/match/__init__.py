"""A whole match: the robot's circuit stepped through its duty profiles, in many runs at once.

| module | does |
|---|---|
| `inputs` | duty profiles, robot and battery as a match needs them |
| `profiles` | profiles on the step grid, and the steps at which something changes |
| `layout`, `loads`, `circuit` | the feed tree with its loads, solved for all runs of a block |
| `cells`, `heat` | the battery's charge and polarisation; wires and devices warming up |
| `record`, `stepping` | what is kept, and the stepping itself |
| `chances` | random phasing, probability of a brown-out, what contributes |

The model leaves out inductance, what a motor feeds back, and what drivers do. It advises; it does not certify.
"""

from shared.electrical.match.chances import (
    Contributions,
    Probability,
    brownout_probability,
    contributions,
    random_shifts,
)
from shared.electrical.match.heat import device_heat_tau_s
from shared.electrical.match.inputs import Duty, MatchBattery, MatchError, MatchRobot
from shared.electrical.match.record import MatchResult, MatchTrace
from shared.electrical.match.stepping import simulate

__all__ = [
    "Contributions",
    "Duty",
    "MatchBattery",
    "MatchError",
    "MatchResult",
    "MatchRobot",
    "MatchTrace",
    "Probability",
    "brownout_probability",
    "contributions",
    "device_heat_tau_s",
    "random_shifts",
    "simulate",
]
