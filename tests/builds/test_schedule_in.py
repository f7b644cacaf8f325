"""A schedule as it is handed out: separators, headings, days and clocks in every usual form; all in, or nothing."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from builds.models import Match, Outing
from builds.schedule_in import NAMES, as_text, read_schedule
from builds.services.schedule import schedule_import, schedule_plan
from shared.errors import DomainError, NotAllowed
from shared.models import Role
from tests.builds.workshop import Workshop, make_event, make_robot, make_workshop
from tests.compliance.battery_shop import make_battery

SATURDAY, SUNDAY = date(2026, 12, 5), date(2026, 12, 6)
HEAD = "Day;Time;Match;Robot;Importance;Strength\n"


def read(text: str, last: date = SUNDAY):
    return read_schedule(text, SATURDAY, last)


def starts(text: str, last: date = SUNDAY) -> list[tuple[str, datetime]]:
    found = read(text, last)
    assert found.problems == []
    return [(row.number, row.starts_at) for row in found.rows]


@pytest.mark.parametrize("separator", [";", "\t", ",", "|"])
def test_any_usual_separator_is_read(separator: str) -> None:
    text = HEAD.replace(";", separator) + separator.join(["2026-12-05", "9:40", "1", "HERON", "Final", "4"])
    (row,) = read(text).rows
    assert (row.number, row.robot, row.importance, row.strength) == ("1", "HERON", "final", 4)
    assert row.starts_at == datetime(2026, 12, 5, 9, 40)


@pytest.mark.parametrize(
    "day", ["2026-12-06", "Sunday", "sun", "SUN.", "day 2", "2", "6.12.", "12/6", "6/12/2026"]
)
def test_a_day_may_be_written_in_many_ways(day: str) -> None:
    assert starts(f"{HEAD}{day};13:05;7;R;;")[0][1] == datetime(2026, 12, 6, 13, 5)


@pytest.mark.parametrize(
    ("clock", "hour", "minute"),
    [("9:40", 9, 40), ("09.40", 9, 40), ("9h40", 9, 40), ("1:15 pm", 13, 15), ("12:05 AM", 0, 5),
     ("12:30 p.m.", 12, 30), ("14:00:00", 14, 0)],
)  # fmt: skip
def test_a_clock_may_be_written_in_many_ways(clock: str, hour: int, minute: int) -> None:
    assert starts(f"{HEAD}Sat;{clock};7;R;;")[0][1] == datetime(2026, 12, 5, hour, minute)


def test_day_and_time_may_share_a_column_and_a_day_holds_on() -> None:
    text = "Time,Match\nSat 9:40,1\n10:20,2\nSun 9:00,3\n9:30,4\n2026-12-06T11:00,5\n"
    assert [(n, at.day, at.hour) for n, at in starts(text)] == [
        ("1", 5, 9), ("2", 5, 10), ("3", 6, 9), ("4", 6, 9), ("5", 6, 11),
    ]  # fmt: skip


def test_without_headings_our_own_order_is_read_and_one_day_needs_no_naming() -> None:
    found = read("9:40\t1\tHERON\tround\t3\n10:15\t2\tHERON\n", last=SATURDAY)
    assert found.problems == []
    assert [(r.number, r.robot, r.strength) for r in found.rows] == [("1", "HERON", 3), ("2", "HERON", None)]


def test_every_problem_names_row_column_value_and_remedy() -> None:
    text = f"{HEAD}Fri;9:40;1;R;;\nSat;25:00;2;R;;\nSat;9:50;;R;;\nSat;10:00;4;R;Big;\nSat;10:10;5;R;;9\n;;6;R;;\n"
    found = read(text)
    assert found.rows == []
    assert [(p.row, p.column, p.value) for p in found.problems] == [
        (2, "Day", "Fri"), (3, "Time", "25:00"), (4, "Match", ""), (5, "Importance", "Big"), (6, "Strength", "9"),
        (7, "Time", ""),
    ]  # fmt: skip
    assert all(p.message and p.remedy for p in found.problems)
    assert "from Saturday 2026-12-05 to Sunday 2026-12-06" in found.problems[0].remedy
    assert found.problems[0].sentence.startswith("Row 2, Day “Fri”: ")


@pytest.mark.parametrize(
    "text", ["", "  \n\n", "only words here\nand here", "Robot;Strength\nR;3", "a" * 5000]
)
def test_a_text_that_is_no_schedule_is_told_so(text: str) -> None:
    found = read(text)
    assert found.rows == []
    assert found.problems[0].remedy


def test_a_date_that_could_be_two_days_is_not_guessed() -> None:
    # 5 December or 12 May: an event on both is made up, but then nobody can tell.
    found = read_schedule(f"{HEAD}5/12;9:00;1;R;;", date(2026, 5, 12), date(2026, 12, 5))
    assert [p.column for p in found.problems] == ["Day"]


@given(st.text(max_size=300))
def test_any_text_is_an_answer_never_a_crash(text: str) -> None:
    found = read(text)
    assert found.problems or found.rows
    for row in found.rows:
        assert SATURDAY <= row.starts_at.date() <= SUNDAY


@given(
    st.lists(
        st.tuples(st.integers(0, 1), st.integers(0, 23), st.integers(0, 59), st.sampled_from([None, 1, 5]),
                  st.text("ab-9", min_size=1, max_size=8)),
        min_size=1, max_size=9,
    )
)  # fmt: skip
def test_what_is_written_out_reads_back(rows: list[tuple[int, int, int, int | None, str]]) -> None:
    lines: list[tuple[object, ...]] = [tuple(NAMES.values())]
    for n, hour, minute, strength, number in rows:
        day = SATURDAY + timedelta(days=n)
        lines.append((day, f"{hour:02d}:{minute:02d}", number, "R1", "Knock-out", strength or "", ""))
    found = read(as_text(lines))
    assert found.problems == []
    assert [
        (r.starts_at.hour, r.starts_at.minute, r.number, r.strength, r.importance) for r in found.rows
    ] == [(hour, minute, number, strength, "knockout") for _, hour, minute, strength, number in rows]


# --- into the database ---------------------------------------------------------------------------


@pytest.fixture
def shop(db) -> Workshop:
    return make_workshop(Role.MEMBER)


@pytest.fixture
def event(shop: Workshop):
    robot = make_robot(shop, "HERON")
    return make_event(shop, "Harbour Cup", SATURDAY, [robot], ends_on=SUNDAY)


def bring(shop: Workshop, event, text: str):
    return schedule_import(scope=shop.scope, event=event, text=text)


def test_a_schedule_comes_in_and_again_changes_nothing(shop, event) -> None:
    text = f"{HEAD}Sat;9:40;1;heron;;3\nSat;10:20;2;;Knock-out;\n"
    assert bring(shop, event, text).headline == "2 matches: 2 new, 0 changed, 0 as they are."
    first = Match.objects.get(number="1")
    assert timezone.localtime(first.starts_at) == timezone.make_aware(datetime(2026, 12, 5, 9, 40))
    assert (first.strength, first.importance) == (3, "round")
    again = bring(shop, event, text)
    assert again.headline == "2 matches: 0 new, 0 changed, 2 as they are."
    assert Match.history.count() == 2


def test_a_new_schedule_moves_what_stands_and_leaves_what_it_does_not_name(shop, event) -> None:
    bring(shop, event, f"{HEAD}Sat;9:40;R1;HERON;;3\nSat;10:20;R2;HERON;;4\n")
    Match.objects.filter(number="R1").update(carrier="Pip")
    done = bring(shop, event, f"{HEAD}Sat;9:55;r1;HERON;Final;\n")
    moved = Match.objects.get(number="R1")
    assert timezone.localtime(moved.starts_at).minute == 55
    assert (moved.importance, moved.strength, moved.carrier) == (
        "final",
        3,
        "Pip",
    )  # empty cells leave what stands
    assert [match.number for match in done.left] == ["R2"]
    assert done.entries[0].changes == ("was at Sat 09:40", "importance was round")


def test_a_played_match_is_left_where_it_was(shop, event) -> None:
    bring(shop, event, f"{HEAD}Sat;9:40;1;HERON;;\n")
    match = Match.objects.get()
    Outing.objects.create(
        team=shop.team, battery=make_battery(shop.team), robot=match.robot, match=match,
        started_at=match.starts_at, ended_at=match.starts_at + timedelta(minutes=20),
    )  # fmt: skip
    done = bring(shop, event, f"{HEAD}Sat;11:00;1;HERON;;\nSat;12:00;2;HERON;;\n")
    assert [(e.what, e.changes) for e in done.entries] == [
        ("same", ("played already, left as it is",)), ("add", ()),
    ]  # fmt: skip
    match.refresh_from_db()
    assert timezone.localtime(match.starts_at).hour == 9


def test_one_wrong_row_brings_in_none(shop, event) -> None:
    text = f"{HEAD}Sat;9:40;1;HERON;;\nSat;10:00;2;GULL;;\nSat;10:20;1;HERON;;\n"
    plan = schedule_plan(scope=shop.scope, event=event, text=text)
    assert [(p.row, p.column, p.value) for p in plan.problems] == [(3, "Robot", "GULL"), (4, "Match", "1")]
    assert "HERON" in plan.problems[0].remedy
    assert plan.headline == "2 things to mend first; nothing was brought in."
    with pytest.raises(DomainError) as refused:
        bring(shop, event, text)
    assert refused.value.value == "GULL"
    assert not Match.objects.exists()


def test_the_robot_is_named_where_several_go(shop, event) -> None:
    event.robots.add(make_robot(shop, "TERN"))
    plan = schedule_plan(scope=shop.scope, event=event, text=f"{HEAD}Sat;9:40;1;;;\nSat;9:40;1;tern;;\n")
    assert [(p.row, p.message) for p in plan.problems] == [(2, "It does not say which robot plays.")]


def test_an_auditor_brings_nothing_in(event) -> None:
    auditor = make_workshop(Role.AUDITOR)
    with pytest.raises(NotAllowed):
        bring(auditor, event, f"{HEAD}Sat;9:40;1;HERON;;\n")


@pytest.mark.parametrize("count", [2, 40])
def test_a_preview_costs_the_same_however_long_it_is(shop, event, count, django_assert_num_queries) -> None:
    text = HEAD + "".join(f"Sat;9:{n:02d};{n};HERON;;\n" for n in range(count))
    with django_assert_num_queries(3):  # robots, matches that stand, outings
        schedule_plan(scope=shop.scope, event=event, text=text)
