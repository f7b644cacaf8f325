"""Which battery goes out for which match, and when each is charged on which charger.

``blocks`` answers at once, ``solve`` exactly with a proof, ``check`` works out again what a plan claims without either,
and ``why_short`` says what would help where some match has no battery.
"""

from shared.planning.rotation.blocks import blocks
from shared.planning.rotation.check import Checked, check
from shared.planning.rotation.plan import Plan, Stage
from shared.planning.rotation.problem import Problem, ProblemError
from shared.planning.rotation.remedies import Remedies, why_short
from shared.planning.rotation.search import solve

__all__ = [
    "Checked",
    "Plan",
    "Problem",
    "ProblemError",
    "Remedies",
    "Stage",
    "blocks",
    "check",
    "solve",
    "why_short",
]
