"""Where some match has no battery: which fails first, and what would fix it."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from builds.models import Handling, RotationPlan
from builds.rotation.words import NO_WAY
from builds.selectors.rotation import current_plan
from builds.services import rotation
from builds.services.rotation import plan_work_out
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db


def planned(pit: Pit) -> Any:
    pit.plan()
    told = plan_work_out(scope=pit.scope, event=pit.event, judged=pit.judged)
    assert told["short"] == 1
    return current_plan(pit.scope, pit.event)


def test_one_battery_and_no_charger_for_two_matches():
    pit = make_pit(1, 0, 2, now=timezone.now().replace(microsecond=0))
    view = planned(pit)
    assert view.plan.state == RotationPlan.State.SHORT
    assert view.headline == "Match 2 has no fit and charged battery."
    assert view.short[0].startswith("Match 2 at ")
    assert view.short[0].endswith(" is the first without a fit and charged battery.")
    # A charger would do too: 85 % is reached a minute or two after it cooled down.
    assert view.short[1] == "What would fix it: one more charged battery, or one more charger."
    assert [step.match.number for step in view.without_battery] == ["2"]


def test_a_longer_break_or_one_more_battery():
    """From 100 % less 3 of 18 Ah to full takes 93 min at 6 A: an hour between two matches is too short."""
    pit = make_pit(1, 1, 2, gap_min=60, now=timezone.now().replace(microsecond=0))
    Handling.objects.create(team=pit.scope.team, event=pit.event, least_charge_frac=1.0)
    view = planned(pit)
    assert "one more charged battery, or a break" in view.short[1]
    # Back after 10 min, 20 to cool, 93 on the charger, 5 to rest, 15 before the match: 143 min from match to match.
    assert view.short[1].endswith(("a break 83 min longer before it.", "a break 84 min longer before it."))


def test_nothing_alone_is_enough():
    pit = make_pit(0, 0, 4, now=timezone.now().replace(microsecond=0))
    view = planned(pit)
    assert view.short[0].startswith("Match 1 at ")
    assert view.short[1] == NO_WAY


def test_a_killed_worker_tells_it_the_next_time(monkeypatch):
    pit = make_pit(1, 0, 2, now=timezone.now().replace(microsecond=0))
    pit.plan()
    with monkeypatch.context() as patched:
        patched.setattr(rotation, "why_short", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            plan_work_out(scope=pit.scope, event=pit.event, judged=pit.judged)
    view = current_plan(pit.scope, pit.event)
    assert view is not None
    assert (view.plan.state, view.short) == (RotationPlan.State.SHORT, ())
    assert plan_work_out(scope=pit.scope, event=pit.event, judged=pit.judged) == {"short": 1}
    again = current_plan(pit.scope, pit.event)
    assert again is not None
    assert len(again.short) == 2
    assert plan_work_out(scope=pit.scope, event=pit.event, judged=pit.judged) == {"nothing": 1}
