"""The rotation as a time chart: a shape for every state, numbers of matches that do not run into each other."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from shared.web.charts import (
    RotationBar,
    RotationChart,
    RotationDay,
    RotationLane,
    RotationMark,
    rotation_chart,
)
from shared.web.charts.rotation import STATES
from tests.shared.web.test_charts import found, tree

NINE = datetime(2026, 11, 28, 9, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def day(*lanes: RotationLane, marks: tuple[tuple[float, str], ...] = ()) -> RotationDay:
    matches = [RotationMark(at(minutes), label) for minutes, label in marks]
    return RotationDay("Saturday", at(0), at(480), lanes, matches)


def drawn(*days: RotationDay, now: datetime | None = None) -> ET.Element:
    return tree(rotation_chart(RotationChart("Rotation", days, now=now)))


def wide(root: ET.Element) -> ET.Element:
    return found(root, "draw--wide")[0]


def test_every_state_has_a_shape_and_a_word() -> None:
    bars = [RotationBar(kind, at(60 * n), at(60 * n + 50)) for n, kind in enumerate(STATES)]
    root = drawn(day(RotationLane("GP-01", bars)))
    picture = wide(root)
    for name in (
        "d-rot--robot",
        "d-rot--charge",
        "d-rot--cool",
        "d-hatch--charge",
        "d-hatch--cool",
        "d-ready",
        "d-rest",
    ):
        assert len(found(picture, name)) == 1, name
    text = "".join(root.itertext())
    for words in STATES.values():
        assert text.count(words) == 2  # in the key and in the table


def test_bars_stand_where_their_times_say() -> None:
    bars = [RotationBar("robot", at(0), at(240), "7", planned=True), RotationBar("charge", at(240), at(480))]
    picture = wide(drawn(day(RotationLane("GP-01", bars))))
    robot, charge = found(picture, "d-rot")
    assert float(robot.attrib["width"]) == float(charge.attrib["width"])
    assert float(robot.attrib["x"]) + float(robot.attrib["width"]) == float(charge.attrib["x"])
    assert "is-planned" in robot.attrib["class"]
    assert "is-planned" not in charge.attrib["class"]


def test_numbers_of_matches_close_together_stand_on_two_lines() -> None:
    marks = ((100, "11"), (104, "12"), (200, "13"))
    lines = found(wide(drawn(day(RotationLane("GP-01"), marks=marks))), "d-match")
    tops = [float(line.attrib["y1"]) for line in lines]
    assert tops[1] < tops[0] == tops[2]


def test_now_is_drawn_on_its_day_only() -> None:
    lanes = RotationLane("GP-01")
    assert len(found(drawn(day(lanes), now=at(30)), "d-upright--today")) == 2  # both sizes
    assert found(drawn(day(lanes), now=at(-30)), "d-upright--today") == []


def test_without_a_day_it_says_so() -> None:
    assert "no match is to be drawn" in "".join(drawn().itertext())


@given(
    st.lists(
        st.tuples(
            st.sampled_from([*STATES, "odd"]),
            st.floats(-900, 900),
            st.floats(0, 900),
            st.text("A7<& ", max_size=6),
        ),
        max_size=8,
    )
)
def test_any_bars_make_well_formed_markup(given_bars: list[tuple[str, float, float, str]]) -> None:
    bars = [RotationBar(kind, at(start), at(start + lasts), text) for kind, start, lasts, text in given_bars]
    picture = wide(drawn(day(RotationLane("<b>", bars, "note"), marks=((10, "1&"),))))
    for box in found(picture, "d-rot"):
        assert float(box.attrib["x"]) >= 0
        assert float(box.attrib["x"]) + float(box.attrib["width"]) <= 880
