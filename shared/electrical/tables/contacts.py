"""Resistance of what is neither wire nor load: joints, and fuses whose sheet gives no figure."""

from typing import Final

from shared.electrical.sources import COMMON_PRACTICE, SEEN, Figure, Source

__all__ = ["BLADE_DROP_MV", "BLADE_DROP_SOURCE", "JOINTS_PER_CIRCUIT", "JOINT_MOHM"]

#: A crimp, screw or plug contact in good order.
JOINT_MOHM: Final = Figure(0.5, "mohm", Source("A sound crimp, screw or plug contact", "", COMMON_PRACTICE))
#: One at each end of both conductors.
JOINTS_PER_CIRCUIT: Final = Figure(
    4.0, "-", Source("Two conductors with a joint at either end", "", COMMON_PRACTICE)
)

# Rated current [A] -> voltage lost at that current [mV], warm. Above 10 A the drop is taken to stay as it is.
BLADE_DROP_SOURCE: Final = Source(
    "Blade fuses, 32 V, one family's data sheet", "drop at rated current, 1 to 10 A", SEEN
)
BLADE_DROP_MV: Final[dict[float, float]] = {1.0: 176.0, 2.0: 141.0, 4.0: 136.0, 10.0: 109.0}
