"""The bill of materials: what builds need, what is on them already, and what they lack.

A circuit implies its conductors, the terminals at both ends, its protective device and its component.
Both conductors of the pair (out and back) are of the circuit's wire type and carry the same terminals;
each conductor is cut longer than its run by an allowance at either end. What a circuit does not tell (no
length yet) is listed as a gap, never taken as nothing. A component that several circuits supply is
counted once per circuit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from django.db.models import F, Q, QuerySet

from builds.models import Build, BuildLine, Circuit
from shared.access import Scope

#: Extra length per conductor end for stripping, crimping and dressing (common practice, no source).
END_ALLOWANCE_M = 0.05
#: Out and back.
POLES = 2


class UseFor(StrEnum):
    CONDUCTOR = "conductor"
    TERMINATION = "termination"
    DEVICE = "protective device"
    COMPONENT = "component"
    LINE = "further part"


@dataclass(frozen=True)
class Use:
    """One reason why a build needs a part."""

    build_id: int
    part_id: int
    what_for: UseFor
    label: str
    needed: Decimal
    installed: Decimal

    @property
    def lacking(self) -> Decimal:
        return self.needed - self.installed


@dataclass(frozen=True)
class Gap:
    """Something a circuit does not tell, so that the bill is not complete."""

    build_id: int
    circuit_code: str
    missing: str


@dataclass(frozen=True)
class BillLine:
    """A part of one build's bill, summed over its uses."""

    build_id: int
    part_id: int
    needed: Decimal
    installed: Decimal
    uses: tuple[Use, ...]

    @property
    def lacking(self) -> Decimal:
        return self.needed - self.installed


@dataclass(frozen=True)
class Bill:
    lines: tuple[BillLine, ...]
    gaps: tuple[Gap, ...]

    def of(self, build_id: int) -> list[BillLine]:
        return [line for line in self.lines if line.build_id == build_id]


def bill_of_materials(
    scope: Scope, builds: Iterable[Build], *, end_allowance_m: float = END_ALLOWANCE_M
) -> Bill:
    """What these builds need part by part, in two queries however many builds there are."""
    ids = [build.pk for build in builds]
    return bill_from(
        scope.rows(Circuit).filter(build_id__in=ids),
        scope.rows(BuildLine).filter(build_id__in=ids),
        end_allowance_m=end_allowance_m,
    )


def bill_from(
    circuits: QuerySet[Circuit],
    lines: QuerySet[BuildLine],
    *,
    end_allowance_m: float = END_ALLOWANCE_M,
    only_lacking: bool = False,
) -> Bill:
    """The bill of these circuits and lines; ``only_lacking`` leaves out, in the database, what is done."""
    if only_lacking:
        circuits = circuits.filter(Q(wired=False) | Q(device_fitted=False))
        lines = lines.filter(installed__lt=F("quantity"))
    uses: list[Use] = []
    gaps: list[Gap] = []
    for row in circuits.order_by("build_id", "code").values_list(*_FIELDS):
        circuit = _Row(*row)
        uses.extend(_uses_of(circuit, end_allowance_m))
        if circuit.wire_id and circuit.length_m is None and not (only_lacking and circuit.wired):
            gaps.append(Gap(circuit.build_id, circuit.code, "length"))
    for build_id, part_id, quantity, installed, note in lines.order_by("build_id", "pk").values_list(
        "build_id", "part_id", "quantity", "installed", "note"
    ):
        uses.append(Use(build_id, part_id, UseFor.LINE, note, quantity, installed))
    if only_lacking:
        uses = [use for use in uses if use.lacking > 0]
    return Bill(tuple(_summed(uses)), tuple(gaps))


_FIELDS = (
    "build_id",
    "code",
    "wire_id",
    "parallel",
    "length_m",
    "wired",
    "terminal_source_id",
    "terminal_load_id",
    "device_id",
    "device_fitted",
    "component_id",
)


@dataclass(frozen=True, slots=True)
class _Row:
    build_id: int
    code: str
    wire_id: int | None
    parallel: int
    length_m: float | None
    wired: bool
    terminal_source_id: int | None
    terminal_load_id: int | None
    device_id: int | None
    device_fitted: bool
    component_id: int | None


def conductor_length_m(length_m: float, parallel: int, end_allowance_m: float = END_ALLOWANCE_M) -> Decimal:
    """The wire a circuit takes off the spools: 2 poles x conductors per pole x (one way + 2 allowances).

    >>> conductor_length_m(1.5, 1), conductor_length_m(0.4, 2, 0.1)
    (Decimal('3.200'), Decimal('2.400'))
    """
    length = POLES * parallel * (Decimal(repr(length_m)) + 2 * Decimal(repr(end_allowance_m)))
    return length.quantize(Decimal("0.001"), rounding=ROUND_CEILING)


def _uses_of(c: _Row, end_allowance_m: float) -> Iterator[Use]:
    conductors = Decimal(POLES * c.parallel)
    wanted: list[tuple[int | None, UseFor, Decimal, bool]] = [
        (c.terminal_source_id, UseFor.TERMINATION, conductors, c.wired),
        (c.terminal_load_id, UseFor.TERMINATION, conductors, c.wired),
        (c.device_id, UseFor.DEVICE, Decimal(1), c.device_fitted),
        (c.component_id, UseFor.COMPONENT, Decimal(1), c.wired),
    ]
    if c.length_m is not None:
        length = conductor_length_m(c.length_m, c.parallel, end_allowance_m)
        wanted.append((c.wire_id, UseFor.CONDUCTOR, length, c.wired))
    for part_id, what_for, needed, is_there in wanted:
        if part_id is not None:
            yield Use(c.build_id, part_id, what_for, c.code, needed, needed if is_there else Decimal(0))


def _summed(uses: Sequence[Use]) -> Iterator[BillLine]:
    found: dict[tuple[int, int], list[Use]] = defaultdict(list)
    for use in uses:
        found[use.build_id, use.part_id].append(use)
    for (build_id, part_id), its_uses in found.items():
        yield BillLine(
            build_id=build_id,
            part_id=part_id,
            needed=sum((u.needed for u in its_uses), Decimal(0)),
            installed=sum((u.installed for u in its_uses), Decimal(0)),
            uses=tuple(its_uses),
        )
