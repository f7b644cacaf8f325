"""The next match, the review and the calendar: what they say of a plan and of what was done."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone
from icalendar import Calendar

from builds.models import Match, Outing, RotationPlan, RotationStep
from builds.rotation.calendar import event_calendar, match_uid
from builds.selectors.next_match import next_match
from builds.selectors.review import event_review
from inventory.models import Battery
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def pit() -> Pit:
    return make_pit(batteries=3, chargers=2, matches=3)


def planned(pit: Pit, *batteries: Battery | None, minutes: float = 0.0, **values: Any) -> RotationPlan:
    """A plan as it would be written, with these batteries for the matches in turn."""
    team = pit.scope.team
    RotationPlan.objects.update(current=False)
    plan = RotationPlan.objects.create(
        team=team, event=pit.event, asked_at=pit.at(minutes), reason="first", state="ready", current=True,
        content_key="0" * 64, told={"headline": "All is well."},
    )  # fmt: skip
    for match, battery in zip(pit.matches, batteries, strict=False):
        RotationStep.objects.create(
            team=team,
            plan=plan,
            match=match,
            battery=battery,
            charge_frac=1.0,
            lowest_v=9.7,
            margin_v=0.7,
            **values,
        )
    return plan


def clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


class TestNextMatch:
    def told(self, pit: Pit, minutes: float = 0.0) -> Any:
        return next_match(pit.scope, pit.event, pit.at(minutes))

    def test_a_ready_battery(self, pit):
        planned(pit, *pit.batteries)
        Match.objects.filter(pk=pit.matches[0].pk).update(carrier="Ada")
        found = self.told(pit)
        assert (found.match, found.battery, found.ready, found.in_time) == (
            pit.matches[0],
            pit.batteries[0],
            True,
            True,
        )
        assert (found.minutes_to_start, found.minutes_to_swap, found.carrier) == (60, 45, "Ada")
        assert found.do_now == f"Put P01 into Heron by {clock(pit.at(45))}."
        assert self.told(pit, 50).do_now == "Put P01 into Heron now."

    def test_another_battery_comes_out_first(self, pit):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[2], -10)
        assert self.told(pit).do_now.startswith("Take P03 out, put P01 into Heron by")

    def test_it_is_in(self, pit):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[0], 40, pit.matches[0])
        found = self.told(pit, 50)
        assert (found.done, found.ready) == (True, True)
        assert found.do_now == "P01 is in Heron. Check that its plug is locked."

    def test_after_a_match_comes_the_next(self, pit):
        planned(pit, *pit.batteries)
        assert self.told(pit, 61).match == pit.matches[1]
        assert self.told(pit, 500) is None

    def test_called_off_ones_are_passed_over(self, pit):
        Match.objects.filter(pk=pit.matches[0].pk).update(called_off=True)
        assert self.told(pit).match == pit.matches[1]

    def test_no_plan_and_no_battery(self, pit):
        assert self.told(pit).do_now == "No plan says which battery match 1 gets. Ask for a plan."
        planned(pit, None)
        assert self.told(pit).do_now == "No battery is free for match 1. See what would fix it."

    def test_on_a_charger_until_full(self, pit):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[0], -200, until=-180, used_ah=3.6)
        pit.charged(pit.batteries[0], -90, None, pit.chargers[0])  # full after 99.6 min
        found = self.told(pit)
        assert (found.ready, found.in_time) == (False, True)
        assert found.do_now == f"Leave P01 where it is until {clock(pit.at(14.6))}."

    def test_enough_though_not_full(self, pit):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[0], -200, until=-180, used_ah=3.6)
        pit.charged(pit.batteries[0], -10, None, pit.chargers[0])
        found = self.told(pit)
        assert (found.ready, found.in_time) == (False, True)
        assert found.do_now.startswith(f"Take P01 off Charger 1 at {clock(pit.at(40))}: it is charged enough")

    def test_too_late(self, pit):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[0], -200, until=-180, used_ah=14.0)
        pit.charged(pit.batteries[0], -10, None, pit.chargers[0])
        found = self.told(pit)
        assert found.in_time is False
        assert "too late" in found.do_now

    def test_cooling_then_on_its_charger(self, pit):
        planned(pit, *pit.batteries, charger=pit.chargers[1])
        pit.went_out(pit.batteries[0], -30, until=-10, used_ah=3.6)
        assert self.told(pit).do_now == f"P01 cools until {clock(pit.at(10))}, then put it on Charger 2."
        assert self.told(pit, 15).do_now == "Put P01 on Charger 2 now."

    def test_out_of_service(self, pit):
        planned(pit, *pit.batteries)
        Battery.objects.filter(pk=pit.batteries[0].pk).update(state="quarantine", state_reason="Dropped")
        assert self.told(pit).do_now == "P01 must not go out (quarantined: dropped). Ask for a new plan."

    def test_in_another_robot(self, pit):
        planned(pit, *pit.batteries)
        out = pit.went_out(pit.batteries[0], -30)
        Outing.objects.filter(pk=out.pk).update(robot=None)
        assert self.told(pit).do_now == "Take P01 out of the robot first."

    def test_the_queries_do_not_grow(self, pit, django_assert_max_num_queries):
        planned(pit, *pit.batteries)
        with django_assert_max_num_queries(16):
            self.told(pit)
        for i in range(5):
            pit.add_battery(15 + i)
        with django_assert_max_num_queries(16):
            self.told(pit)


class TestReview:
    def test_planned_against_done(self, pit):
        first, second, third = pit.batteries
        planned(pit, first, second, third)
        pit.went_out(
            first, 45, pit.matches[0], until=75, start_rest_v=12.9, end_rest_v=12.5, lowest_v=9.6, used_ah=2.9
        )
        # The second was pulled: a new plan, and then another battery all the same.
        planned(pit, first, third, third, minutes=80)
        pit.went_out(first, 105, pit.matches[1], until=135, lowest_v=8.9)
        told = event_review(pit.scope, pit.event)
        one, two, three = told.matches
        assert (one.planned, one.ran, one.as_planned, one.expected_v) == (first, first, True, 9.7)
        assert one.off_v == pytest.approx(-0.1)
        assert one.sentence == "P01 ran it as planned and fell to 9.6 V, as expected."
        assert (two.planned, two.ran, two.as_planned, two.off_v) == (third, first, False, None)
        assert two.sentence == "P01 ran it, planned was P03."
        assert (three.outing, three.sentence) == (None, "No outing was noted.")
        assert told.headline == (
            "2 of 3 matches with a battery on record, 1 of 2 as planned; lowest was 8.9 V in match 2 with P01."
        )
        assert len(told.plans) == 2
        mine = next(row for row in told.batteries if row.battery == first)
        assert [m.number for m in mine.matches] == ["1", "2"]
        assert (mine.lowest_v, mine.used_ah, mine.planned_matches) == (8.9, 2.9, 1)
        assert mine.learned[0] == "It held what was expected of it (1 match)."
        assert [row.battery for row in told.batteries] == [first, third]

    def test_what_was_planned_after_the_battery_went_in_does_not_count(self, pit):
        planned(pit, pit.batteries[0])
        planned(pit, pit.batteries[1], minutes=50)
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=75)
        assert event_review(pit.scope, pit.event).matches[0].as_planned is True

    def test_what_is_expected_is_the_median_of_simulated_matches(self, pit):
        """The plan is made for one match in twenty: compared with that, every battery would look too good."""
        plan = planned(pit, pit.batteries[0])
        plan.told = {**plan.told, "usual": {str(pit.matches[0].pk): 0.4}}
        plan.save()
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=75, lowest_v=10.0)
        row = event_review(pit.scope, pit.event).matches[0]
        assert row.expected_v == pytest.approx(10.1)
        assert row.sentence == "P01 ran it as planned and fell to 10.0 V, as expected."

    def test_no_plan_and_called_off(self, pit):
        Match.objects.filter(pk=pit.matches[1].pk).update(called_off=True)
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=75)
        told = event_review(pit.scope, pit.event)
        assert [row.sentence for row in told.matches] == [
            "P01 ran it; no plan held.",
            "Called off.",
            "No outing was noted.",
        ]

    def test_nothing_was_noted(self, pit):
        told = event_review(pit.scope, pit.event)
        assert told.headline == "No outing was noted at this event."
        assert told.batteries == ()

    def test_one_match_is_one_match(self, pit):
        Match.objects.exclude(pk=pit.matches[0].pk).delete()
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=70)
        told = event_review(pit.scope, pit.event)
        assert told.headline == "1 of 1 match with a battery on record."

    def test_practice_of_the_day_is_told_apart(self, pit):
        pit.went_out(pit.batteries[0], 10, until=30)
        pit.went_out(pit.batteries[0], -3000, until=-2900)
        assert [o.started_at for o in event_review(pit.scope, pit.event).practice] == [pit.at(10)]

    def test_a_weak_battery_shows_against_the_others(self):
        pit = make_pit(batteries=3, chargers=0, matches=15, gap_min=30)
        for i, match in enumerate(pit.matches):
            battery = pit.batteries[i % 3]
            lowest = 7.6 if battery == pit.batteries[0] else 9.0
            pit.went_out(battery, 50 + 30 * i, match, until=70 + 30 * i, start_rest_v=12.8, lowest_v=lowest)
        told = event_review(pit.scope, pit.event)
        weak, sound, _ = told.batteries
        assert weak.evidence is not None
        assert weak.evidence.sags
        assert weak.evidence.sag_v == pytest.approx(5.2)
        # Sag 12.8 - 7.6 over 12.8 - 9.0.
        assert weak.evidence.ratio == pytest.approx(5.2 / 3.8)
        assert any("37% more than the others" in words for words in weak.learned)
        assert sound.evidence is not None
        assert not sound.evidence.sags

    def test_the_queries_do_not_grow(self, pit, django_assert_num_queries):
        planned(pit, *pit.batteries)
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=75)
        with django_assert_num_queries(7):
            event_review(pit.scope, pit.event)
        for i, match in enumerate(pit.matches[1:]):
            pit.went_out(pit.batteries[i + 1], 100 + 60 * i, match, until=130 + 60 * i)
        planned(pit, *pit.batteries, minutes=80)
        with django_assert_num_queries(7):
            event_review(pit.scope, pit.event)


class TestCalendar:
    """Against RFC 5545, read back by a parser."""

    def read(self, pit: Pit) -> Any:
        return Calendar.from_ical(event_calendar(pit.scope, pit.event, pit.now))

    def test_one_entry_per_match_in_utc(self, pit):
        planned(pit, *pit.batteries)
        calendar = self.read(pit)
        assert (calendar["VERSION"], calendar["CALSCALE"]) == ("2.0", "GREGORIAN")
        assert calendar["PRODID"]
        entries = calendar.walk("VEVENT")
        assert [str(e["SUMMARY"]) for e in entries] == [
            "Match 1, Heron: battery P01",
            "Match 2, Heron: battery P02",
            "Match 3, Heron: battery P03",
        ]
        first = entries[0]
        assert first["DTSTART"].dt == pit.at(60)
        assert first["DTEND"].dt - first["DTSTART"].dt == timedelta(seconds=pit.robot.season.match_s)
        assert str(first["STATUS"]) == "CONFIRMED"
        alarm = first.walk("VALARM")[0]
        assert alarm["TRIGGER"].dt == timedelta(minutes=-15)
        assert str(alarm["ACTION"]) == "DISPLAY"

    def test_the_lines_are_as_the_standard_asks(self, pit):
        """RFC 5545: 3.1 lines end in CRLF and are folded at 75 octets; 3.3.5 form 2, times in UTC end in Z."""
        pit.event.place = (
            "Hall of the old harbour, entrance by the northern quay; bring a lamp, mind the step"
        )
        pit.event.save()
        planned(pit, *pit.batteries)
        text = event_calendar(pit.scope, pit.event, pit.now)
        lines = text.split(b"\r\n")
        assert b"\n" not in text.replace(b"\r\n", b"")
        assert max(map(len, lines)) <= 75
        assert lines[0] == b"BEGIN:VCALENDAR"
        assert lines[-2:] == [b"END:VCALENDAR", b""]
        assert f"DTSTART:{pit.at(60):%Y%m%dT%H%M%SZ}".encode() in lines
        entry = self.read(pit).walk("VEVENT")[0]
        assert str(entry["LOCATION"]) == pit.event.place, "commas and semicolons survive"

    def test_required_properties_once_each(self, pit):
        """RFC 5545, 3.6.1: UID and DTSTAMP are required and occur once."""
        planned(pit, *pit.batteries)
        for entry in self.read(pit).walk("VEVENT"):
            names = [name for name, _ in entry.property_items(recursive=False)]
            for required in ("UID", "DTSTAMP", "DTSTART", "DTEND"):
                assert names.count(required) == 1

    def test_the_same_match_keeps_its_uid(self, pit):
        """RFC 7986, 5.3: a UID is globally unique and says nothing of who made it: a UUID."""
        planned(pit, *pit.batteries)
        before = [str(e["UID"]) for e in self.read(pit).walk("VEVENT")]
        Match.objects.filter(pk=pit.matches[0].pk).update(starts_at=pit.at(400), number="7b")
        planned(pit, *reversed(pit.batteries))
        after = [str(e["UID"]) for e in self.read(pit).walk("VEVENT")]
        assert sorted(before) == sorted(after)
        assert len(set(before)) == 3
        assert all(str(uuid.UUID(uid)) == uid for uid in before)
        assert match_uid("gull-point", 1) != match_uid("far-shore", 1)

    def test_called_off_is_cancelled(self, pit):
        Match.objects.filter(pk=pit.matches[0].pk).update(called_off=True)
        entry = self.read(pit).walk("VEVENT")[0]
        assert (str(entry["STATUS"]), str(entry["SUMMARY"])) == ("CANCELLED", "Match 1, Heron: called off")
        assert not entry.walk("VALARM")

    def test_what_went_out_and_who_carries_it(self, pit):
        planned(pit, *pit.batteries)
        Match.objects.filter(pk=pit.matches[0].pk).update(carrier="Ada")
        pit.went_out(pit.batteries[2], 45, pit.matches[0])
        entry = self.read(pit).walk("VEVENT")[0]
        assert str(entry["SUMMARY"]) == "Match 1, Heron: battery P03"
        assert "Carried by Ada" in str(entry["DESCRIPTION"])

    def test_without_a_plan_the_matches_stand(self, pit):
        assert str(self.read(pit).walk("VEVENT")[0]["SUMMARY"]) == "Match 1, Heron"

    def test_the_queries_do_not_grow(self, pit, django_assert_num_queries):
        planned(pit, *pit.batteries)
        with django_assert_num_queries(5):
            event_calendar(pit.scope, pit.event, pit.now)
