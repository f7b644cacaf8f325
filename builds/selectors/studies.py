"""What the studies of a build need, read in a fixed number of queries, and their answers."""

from __future__ import annotations

from dataclasses import replace

from builds.electrical import CircuitColumns, load_circuits
from builds.models import Build
from builds.network import PUSHING, Assembled, assemble
from builds.studies import (
    BatteryCase,
    BatteryStudy,
    ChangeStudy,
    FixStudy,
    LimitStudy,
    SolvedBuild,
    batteries,
    changes,
    fixes,
    limits,
    solved,
)
from builds.studies.base import as_new_case
from inventory.models import Battery, BatteryModel
from inventory.selectors.battery_sources import BatterySource, battery_sources, rest_v_at
from inventory.selectors.wires import wire_choices
from shared.access import Scope


def circuits_of(scope: Scope, build: Build) -> CircuitColumns:
    """The circuits of one build, for those who ask several studies of it: eight queries."""
    return load_circuits(scope.rows(Build).filter(pk=build.pk))


def network_of(
    scope: Scope, build: Build, push: int = PUSHING, rows: CircuitColumns | None = None
) -> Assembled:
    """The network of one build, alone; ``push``: how many mechanisms are at their peak while it pushes."""
    return assemble(circuits_of(scope, build) if rows is None else rows, push=push)


def battery_case(
    scope: Scope, build: Build, net: Assembled, battery: Battery | None, charge_frac: float = 1.0
) -> BatteryCase:
    """A battery as last measured, or a new one of the build's model; ``charge_frac``: its state of charge, 0 to 1."""
    if battery is not None:
        (source,) = battery_sources(scope, only=battery.pk)
        return case_of(source, charge_frac)
    model = build.battery_model
    return _charged(as_new_case(net, f"New {model.code}" if model else "New battery"), model, charge_frac)


def case_of(source: BatterySource, charge_frac: float = 1.0) -> BatteryCase:
    """A battery of the team, as its readings tell it."""
    ohm = source.internal_ohm
    case = BatteryCase(
        battery_id=source.battery.pk,
        label=source.battery.code,
        open_v=source.open_v,
        internal_mohm=None if ohm is None else ohm * 1e3,
        words=source.words,
    )
    return _charged(case, source.battery.model, charge_frac)


def _charged(case: BatteryCase, model: BatteryModel | None, charge_frac: float) -> BatteryCase:
    """The full battery at a state of charge; its resistance stays, for no reading tells how far that rises."""
    if charge_frac >= 1.0 or case.open_v is None:
        return case
    volts = rest_v_at(model, charge_frac, case.open_v) if model else None
    case = replace(case, open_v=volts, charge_frac=charge_frac)
    if volts is None or model is None or case.internal_mohm is None:
        return case
    curve = "the curve of its model" if model.rest_curve else "a usual curve of its chemistry"
    charged = f"{charge_frac * 100:.0f} % charged, {volts:.2f} V at rest by {curve}"
    return replace(
        case, words=f"{case.words}; {charged}; resistance as when full, though it rises as a battery empties"
    )


def solved_build(
    scope: Scope,
    build: Build,
    battery: Battery | None = None,
    *,
    least_board_v: float | None = None,
    push: int = PUSHING,
    charge_frac: float = 1.0,
    net: Assembled | None = None,
) -> SolvedBuild:
    """Every voltage and current of the build in the three scenarios; ``net``: its network, if it is there already."""
    net = net or network_of(scope, build, push)
    return solved.solved_build(
        build.pk, net, battery_case(scope, build, net, battery, charge_frac), least_board_v
    )


def cheapest_fix(
    scope: Scope,
    build: Build,
    battery: Battery | None = None,
    *,
    least_board_v: float | None = None,
    push: int = PUSHING,
    charge_frac: float = 1.0,
) -> FixStudy:
    """Which conductor, one size up, is the cheapest fix."""
    net = network_of(scope, build, push)
    case = battery_case(scope, build, net, battery, charge_frac)
    return fixes.cheapest_fix(build.pk, net, case, wire_choices(scope), least_board_v)


def batteries_for(
    scope: Scope,
    build: Build,
    *,
    least_board_v: float | None = None,
    push: int = PUSHING,
    charge_frac: float = 1.0,
    net: Assembled | None = None,
) -> BatteryStudy:
    """Which battery in service may still run this build; ``net``: its network, if it is there already."""
    net = net or network_of(scope, build, push)
    as_new = battery_case(scope, build, net, None, charge_frac)
    cases = [case_of(source, charge_frac) for source in battery_sources(scope) if source.in_service]
    return batteries.batteries_for(build.pk, net, as_new, cases, least_board_v)


def current_limits(
    scope: Scope,
    build: Build,
    battery: Battery | None = None,
    *,
    least_board_v: float | None = None,
    push: int = PUSHING,
    charge_frac: float = 1.0,
) -> LimitStudy:
    """How much current limit per motor removes the brown-out."""
    net = network_of(scope, build, push)
    return limits.current_limits(
        build.pk, net, battery_case(scope, build, net, battery, charge_frac), least_board_v
    )


def build_before(scope: Scope, build: Build) -> Build | None:
    """The build its robot had before this one."""
    earlier = scope.rows(Build).filter(robot_id=build.robot_id, dated__lte=build.dated).exclude(pk=build.pk)
    return earlier.exclude(dated=build.dated, pk__gt=build.pk).order_by("-dated", "-pk").first()


def build_changes(
    scope: Scope,
    before: Build | None,
    after: Build,
    *,
    least_board_v: float | None = None,
    push: int = PUSHING,
) -> ChangeStudy:
    """What the change from one build to the other did, each with a new battery of its model."""
    if before is None:
        return ChangeStudy(None, after.pk, (), (), (), cannot=changes.FIRST)
    prices = {wire.wire_id: wire.price_per_m for wire in wire_choices(scope)}
    sides, words = [], []
    for build in (before, after):
        net = network_of(scope, build, push)
        sides.append(changes.Side(build.pk, net, battery_case(scope, build, net, None), prices))
        model = build.battery_model
        words.append(
            {
                "battery_model__code": model.code if model else None,
                "ambient_c": build.ambient_c,
                "source_mohm": build.source_mohm,
            }
        )
    return changes.build_changes(sides[0], sides[1], (words[0], words[1]), least_board_v)
