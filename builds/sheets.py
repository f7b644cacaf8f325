"""The workbook's sheets of seasons, robots, builds with circuits, events with matches, and outings."""

from __future__ import annotations

from typing import Any

from builds.models import (
    Build,
    BuildLine,
    Circuit,
    DutyPhase,
    DutyProfile,
    Event,
    Handling,
    Match,
    Outing,
    Robot,
    Season,
)
from builds.services.circuits import circuit_save
from inventory.sheets.catalogue import PARTS
from inventory.sheets.people import by_column
from shared.access import Scope
from shared.models import JobRun
from shared.workbook.declare import col, sheet
from shared.workbook.spec import Kind, Values


def _write_circuit(*, scope: Scope, instance: Circuit, values: Values, created: bool) -> None:
    circuit_save(scope=scope, circuit=instance, trigger=JobRun.Trigger.IMPORT)


def _robot_of_build() -> dict[str, Any]:
    """The robot, which is part of the name of a build."""
    return col(
        "robot",
        heading="Robot",
        kind=Kind.REFERENCE,
        reference="Robots",
        path="build__robot__code",
        required=True,
        explanation="Code of the robot",
        example="R26A",
    )


def _build() -> dict[str, Any]:
    return col(
        "build",
        reference="Builds",
        reference_with=("robot",),
        explanation="Label of the build of that robot",
        example="rev B",
    )


SEASONS = sheet(
    "Seasons",
    Season,
    key=("name",),
    columns=[
        col("name", explanation="What the season is called", example="2026/27"),
        col("starts_on", explanation="First day", example="2026-09-01"),
        col("ends_on", explanation="Last day", example="2027-06-30"),
        col("match_s", heading="Match length (s)", example="150"),
    ],
)

ROBOTS = sheet(
    "Robots",
    Robot,
    key=("code",),
    columns=[
        col("code", explanation="Short code of the robot", example="R26A"),
        col("name", explanation="What the robot is called", example="Sandpiper"),
        col("season", reference="Seasons", explanation="Season it was built for", example="2026/27"),
        col("notes", explanation="Anything worth knowing", example="Lent out in July"),
        col("archived", example="no"),
    ],
)

DUTY_PROFILES = sheet(
    "Duty profiles",
    DutyProfile,
    key=("code",),
    columns=[
        col("code", example="DRIVE"),
        col("name", example="Drive: cruise and push"),
        col("notes", explanation="Anything worth knowing", example="From the log of the last final"),
    ],
    about="How loads are used during a match; the phases of each are on the sheet Duty phases",
)

DUTY_PHASES = sheet(
    "Duty phases",
    DutyPhase,
    key=("profile", "place"),
    columns=[
        col("profile", reference="Duty profiles", explanation="Code of the duty profile", example="DRIVE"),
        col("place", example="1"),
        col("name", example="push"),
        col("lasts_s", heading="Lasts (s)", example="2"),
        col("draw_frac", heading="Draw", example="100 %"),
        col("torque_frac", heading="Torque", example="30 %"),
    ],
    about="Phases of duty profiles in their order; after the last one the first follows again",
)

BUILDS = sheet(
    "Builds",
    Build,
    key=("robot", "label"),
    columns=[
        col("robot", reference="Robots", explanation="Code of the robot", example="R26A"),
        col("label", example="rev B"),
        col("dated", example="2026-11-01"),
        col("state", explanation="Sweeps judge the current build, one per robot", example="Current"),
        col(
            "battery_model",
            reference="Battery models",
            explanation="Kind of battery it runs on",
            example="AGM18",
        ),
        col("ambient_c", heading="Ambient (°C)", example="30"),
        col("source_mohm", heading="Source resistance (mΩ)", example="15"),
        col("notes", explanation="Anything worth knowing", example="After the drivetrain change"),
    ],
    about="Dated as-built revisions of robots",
)

CIRCUITS = sheet(
    "Circuits",
    Circuit,
    key=("robot", "build", "code"),
    writer=_write_circuit,
    columns=[
        _robot_of_build(),
        _build(),
        col("code", example="C07"),
        col("name", explanation="What it supplies", example="Drive left front"),
        col("role", explanation="What kind of circuit", example="Branch to a load"),
        col("fed_from", reference="Circuits", reference_with=("robot", "build"), example="MAIN"),
        col(
            "device",
            reference="Protective devices",
            explanation="Fuse or breaker at its start",
            example="FUSE-30",
        ),
        col("device_fitted", example="yes"),
        col("wire", reference="Wire types", explanation="Code of the wire type", example="W12-RED"),
        col("parallel", heading="Conductors per pole", example="1"),
        col("length_m", example="4 ft"),
        col("wired", example="yes"),
        col(
            "component",
            reference="Components",
            explanation="What it supplies, from Components",
            example="MOT-DRIVE",
        ),
        col("continuous_a", heading="Running current (A)", explanation="Current for minutes", example="12"),
        col("peak_a", heading="Peak current (A)", example="40"),
        col("duty_frac", heading="Duty", example="25 %"),
        col("cycle_s", example="20"),
        col("mechanism", example="DRIVE"),
        col("limit_a", heading="Current limit (A)", example="40"),
        col("profile", reference="Duty profiles", heading="Duty profile", example="DRIVE"),
        col(
            "terminal_source",
            heading="Terminal at the source",
            reference="Terminals",
            explanation="On each conductor at the source end",
            example="RING-M5",
        ),
        col("stud_source_mm", heading="Stud at the source (mm)", example="5"),
        col(
            "terminal_load",
            heading="Terminal at the load",
            reference="Terminals",
            explanation="On each conductor at the load end",
            example="RING-M5",
        ),
        col("stud_load_mm", heading="Stud at the load (mm)", example="5"),
        col("joints_mohm", heading="Joints (mΩ)", example="1.8"),
        col("bundle_count", heading="Conductors in the bundle", example="6"),
        col("ambient_c", heading="Ambient (°C)", example="45"),
        col("critical", example="no"),
        col("notes", explanation="Anything worth knowing", example="Passes the hinge"),
    ],
    about="Circuits of builds. An empty figure means not known yet: the checks say so instead of guessing",
)

BUILD_LINES = sheet(
    "Build lines",
    BuildLine,
    key=("robot", "build", "part", "note"),
    columns=[
        _robot_of_build(),
        _build(),
        col(
            "part",
            reference=PARTS,
            explanation="Code of the part on any of the part sheets",
            example="TIE-100",
        ),
        col("note", explanation="What it is for, if one part is needed twice", example="arm"),
        col("quantity", explanation="How many the build needs", example="20"),
        col("installed", example="12"),
    ],
    about="Parts a build needs besides what its circuits imply",
)

EVENTS = sheet(
    "Events",
    Event,
    key=("name",),
    columns=[
        col("name", explanation="What the event is called", example="Winter regional"),
        col("season", reference="Seasons", explanation="Season it belongs to", example="2026/27"),
        col("place", explanation="Where it is held", example="Sports hall"),
        col("starts_on", explanation="First day", example="2026-12-07"),
        col("ends_on", explanation="Last day", example="2026-12-08"),
        col("goods_by", example="2026-12-03"),
        col("matches_planned", example="10"),
        col(
            "robots",
            reference="Robots",
            explanation="Codes of the robots that go, split by ;",
            example="R26A; R26B",
        ),
        col(
            "batteries",
            reference="Batteries",
            explanation="Codes of the batteries on the cart, split by ;. Empty: all in service",
            example="B01; B02",
        ),
        col(
            "chargers",
            reference="Chargers",
            explanation="Names of the chargers in the pit, split by ;. Empty: all",
            example="Bench left; Bench right",
        ),
    ],
)

HANDLING = sheet(
    "Handling",
    Handling,
    key=("event",),
    columns=[
        col("event", reference="Events", explanation="Which event", example="Winter regional"),
        col("ready_before_min", heading="Ready before a match (min)", example="15"),
        col("back_after_min", heading="Back after a match begins (min)", example="10"),
        col("cool_min", heading="Cools (min)", example="20"),
        col("absorption_min", heading="Absorption (min)", example="60"),
        col("rest_min", heading="Rests after a charge (min)", example="5"),
        col("least_charge_frac", heading="Least state of charge", example="85 %"),
    ],
    about="How long each step of a battery's way round the pit takes at an event",
)

MATCHES = sheet(
    "Matches",
    Match,
    key=("event", "robot", "number"),
    columns=[
        col("event", reference="Events", explanation="Which event", example="Winter regional"),
        col("robot", reference="Robots", explanation="Code of the robot", example="R26A"),
        col("number", example="Q12"),
        col("starts_at", explanation="Planned start", example="2026-12-07 10:40"),
        col("importance", explanation="How much depends on it", example="Round"),
        col("strength", example="4"),
        col("carrier", example="Robin"),
        col("called_off", example="no"),
    ],
)

OUTINGS = sheet(
    "Outings",
    Outing,
    key=("battery", "started_at"),
    columns=[
        col("battery", reference="Batteries", explanation="Code of the battery", example="B01"),
        col("started_at", explanation="When it went out", example="2026-12-07 10:35"),
        col("robot", reference="Robots", explanation="Code of the robot", example="R26A"),
        col(
            "event",
            heading="Event",
            kind=Kind.REFERENCE,
            reference="Events",
            path="match__event__name",
            explanation="Event of the match; empty for practice",
            example="Winter regional",
        ),
        col(
            "match",
            reference="Matches",
            reference_with=("event", "robot"),
            explanation="Number of the match; empty for practice",
            example="Q12",
        ),
        col("in_robot", example="no"),
        col("ended_at", example="2026-12-07 10:55"),
        col("start_rest_v", heading="Rest voltage before (V)", example="12.85"),
        col("end_rest_v", heading="Rest voltage after (V)", example="12.40"),
        col("lowest_v", heading="Lowest voltage (V)", example="9.1"),
        col("used_ah", heading="Charge used (Ah)", example="3.2"),
        by_column("noted it"),
        col("note", explanation="Anything odd", example="Robot reset once"),
    ],
    about="Uses of a battery, in a match or in practice",
)

SHEETS = (
    SEASONS,
    ROBOTS,
    DUTY_PROFILES,
    DUTY_PHASES,
    BUILDS,
    CIRCUITS,
    BUILD_LINES,
    EVENTS,
    HANDLING,
    MATCHES,
    OUTINGS,
)
