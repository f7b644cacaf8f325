"""Flags open once, stay, get worse or better, clear with the reason and come back; all of it is told."""

from __future__ import annotations

import json
import math
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.models import Flag, FlagEvent, RulePack, RuleSetting, Severity
from compliance.rules.base import Finding
from compliance.services.flag_diff import SAME_DIGITS
from compliance.services.flags import flags_sync
from compliance.services.plain import as_json, plain
from compliance.sweeps.registry import SWEEPS, finder_of
from inventory.models import Part
from tests.builds.workshop import make_build, make_circuit, make_workshop
from tests.compliance.findings import Found, events_of, finding, night, only_flag, parts, sync
from tests.inventory.stockroom import make_part, make_scope, make_team
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    return make_team()


@pytest.fixture
def part(team) -> Part:
    return make_part(team, "FUSE30")


def writes(queries: CaptureQueriesContext) -> list[str]:
    words = ("INSERT", "UPDATE", "DELETE")
    return [q["sql"] for q in queries.captured_queries if q["sql"].startswith(words)]


def test_a_finding_opens_a_flag_that_says_what_was_found(team, part):
    counts = sync(team, finding(part))
    flag = only_flag()
    assert (flag.rule_code, flag.sweep, flag.subject_kind, flag.subject_id) == (
        "stock-low", "stock", "part", part.pk,
    )  # fmt: skip
    assert (flag.severity, flag.state, flag.value, flag.limit) == ("fix", "open", 3.0, 10.0)
    assert flag.working["conclusion"] == "3 < 10"
    assert flag.opened_at == flag.changed_at == night(0)
    assert events_of(flag) == ["opened"]
    assert counts == {
        "parts": 1, "open": 1, "opened": 1, "reopened": 0, "escalated": 0, "eased": 0, "cleared": 0,
    }  # fmt: skip


def test_the_second_run_writes_nothing(team):
    found = [finding(p) for p in parts(team, 20)]
    sync(team, *found)
    before = list(Flag.objects.order_by("pk").values())
    with CaptureQueriesContext(connection) as queries:
        counts = sync(team, *found, at=1)
    assert writes(queries) == []
    assert list(Flag.objects.order_by("pk").values()) == before
    assert (counts["open"], counts["opened"], counts["cleared"]) == (20, 0, 0)
    assert FlagEvent.objects.count() == 20


def test_the_last_digit_of_a_sum_is_no_change_and_a_real_change_is(team, part):
    sync(team, finding(part, value=0.1 + 0.2, working={"steps": [{"result": 0.1 + 0.2}]}))
    noise = 0.3 * (1 + 0.1 * 10.0**-SAME_DIGITS)
    with CaptureQueriesContext(connection) as queries:
        sync(team, finding(part, value=noise, working={"steps": [{"result": 0.3}]}), at=1)
    assert writes(queries) == []
    sync(team, finding(part, value=0.3001, working={"steps": [{"result": 0.3001}]}), at=2)
    assert only_flag().value == 0.3001
    assert only_flag().changed_at == night(2)
    assert events_of(only_flag()) == ["opened"]


def test_a_working_that_alone_differs_is_kept_but_is_no_change_of_the_flag(team, part):
    sync(team, finding(part, working={"conclusion": "arrives on 1 December"}))
    sync(team, finding(part, working={"conclusion": "arrives on 2 December"}), at=1)
    flag = only_flag()
    assert flag.working == {"conclusion": "arrives on 2 December"}
    assert (flag.opened_at, flag.changed_at) == (night(0), night(0))


def test_stop_fix_unknown_watch_is_the_order_of_seriousness(team, part):
    steps = ["watch", "unknown", "fix", "stop", "fix", "unknown", "watch"]
    for number, severity in enumerate(steps):
        sync(team, finding(part, severity=severity), at=number)
    flag = only_flag()
    assert events_of(flag) == ["opened", *["escalated"] * 3, *["eased"] * 3]
    assert flag.severity == "watch"
    assert flag.opened_at == night(0)
    assert list(flag.events.all())[-1].detail == "was unknown: FUSE30 is short."


def test_a_flag_clears_by_itself_and_opens_again_as_the_same_flag(team, part):
    sync(team, finding(part))
    first = only_flag()
    counts = sync(team, at=1)
    flag = only_flag()
    assert (flag.state, flag.cleared_at, flag.cleared_reason) == (
        "cleared", night(1), "the check passes now",
    )  # fmt: skip
    assert (counts["open"], counts["cleared"]) == (0, 1)
    with CaptureQueriesContext(connection) as queries:
        sync(team, at=2)
    assert writes(queries) == []
    counts = sync(team, finding(part, severity="stop"), at=3)
    flag = only_flag()
    assert flag.pk == first.pk
    assert (flag.state, flag.cleared_at, flag.cleared_reason) == ("open", None, "")
    assert (flag.severity, flag.opened_at) == ("stop", night(3))
    assert events_of(flag) == ["opened", "cleared", "reopened"]
    assert (counts["open"], counts["opened"], counts["reopened"]) == (1, 0, 1)


def test_an_archived_subject_and_a_deleted_one_are_told_apart_from_a_mended_one(team):
    kept, archived, deleted = parts(team, 3)
    sync(team, *map(finding, (kept, archived, deleted)))
    Part.objects.filter(pk=archived.pk).update(archived=True)
    number = deleted.pk
    Part.objects.filter(pk=number).delete()
    sync(team, at=1)
    assert dict(Flag.objects.values_list("subject_id", "cleared_reason")) == {
        kept.pk: "the check passes now",
        archived.pk: "the subject is no longer judged: it is archived",
        number: "the subject was deleted",
    }
    told = FlagEvent.objects.filter(kind="cleared").values_list("flag__subject_id", "detail")
    assert dict(told) == dict(Flag.objects.values_list("subject_id", "cleared_reason"))


def test_a_rule_switched_off_and_a_build_that_is_past_are_reasons_of_their_own():
    shop = make_workshop()
    build, old = make_build(shop), make_build(shop)
    circuits = [make_circuit(shop, b, "C1") for b in (build, old)]
    found = [
        finding(shop.fuse, rule="drop", subject_kind="circuit", subject_id=c.pk, subject_label=c.code)
        for c in circuits
    ]
    flags_sync(sweep="loads", team_ids=[shop.team.pk], now=night(0), find=Found(*found))
    pack = RulePack.objects.create(team=shop.team, name="This season's", season=shop.season)
    RuleSetting.objects.create(team=shop.team, pack=pack, rule_code="drop", enabled=False)
    type(old).objects.filter(pk=old.pk).update(state="past")
    flags_sync(sweep="loads", team_ids=[shop.team.pk], now=night(1), find=Found())
    assert dict(Flag.objects.values_list("subject_id", "cleared_reason")) == {
        circuits[0].pk: "the rule is switched off",
        circuits[1].pk: "the subject is no longer judged: its build is not the current one",
    }


def test_a_battery_taken_out_of_use_is_no_longer_judged(team):
    scope = make_scope(team)
    kept, out = (make_battery(scope, code) for code in ("B01", "B02"))
    found = [
        Finding(team.pk, "battery-rise", "battery", b.pk, b.code, "fix", "It rises.") for b in (kept, out)
    ]
    flags_sync(sweep="batteries", team_ids=[team.pk], now=night(0), find=Found(*found))
    type(out).objects.filter(pk=out.pk).update(state="quarantine", state_reason="swollen")
    flags_sync(sweep="batteries", team_ids=[team.pk], now=night(1), find=Found())
    assert dict(Flag.objects.values_list("subject_label", "cleared_reason")) == {
        "B01": "the check passes now",
        "B02": "the subject is no longer judged: it is out of use or archived",
    }


def test_a_sweep_touches_no_other_sweep_and_no_other_team(team, part):
    other = make_part(make_team(), "FUSE30")
    both = Found(finding(part), finding(other))
    flags_sync(sweep="stock", team_ids=[part.team_id, other.team_id], now=night(0), find=both)
    flags_sync(sweep="loads", team_ids=[team.pk], now=night(1), find=Found())
    sync(team, at=2)
    assert dict(Flag.objects.values_list("subject_id", "state")) == {part.pk: "cleared", other.pk: "open"}


def test_of_two_findings_on_one_subject_the_more_serious_is_kept(team, part):
    sync(team, finding(part, severity="watch"), finding(part, severity="stop"), finding(part, severity="fix"))
    assert only_flag().severity == "stop"


def test_what_no_column_holds_is_made_to_fit(team, part):
    said = finding(part, message="m" * 500, value=math.inf, limit=math.nan, unit="u" * 30)
    sync(team, said)
    flag = only_flag()
    assert (len(flag.message), len(flag.unit)) == (400, 12)
    assert flag.message.endswith("…")
    assert (flag.value, flag.limit) == (None, None)
    with CaptureQueriesContext(connection) as queries:
        sync(team, said, at=1)
    assert writes(queries) == []


@pytest.mark.parametrize(("number", "shown"), [(2.5, 2.5), (float("inf"), "inf")])
def test_a_working_is_made_plain(number, shown):
    given = {
        "a": np.float64(0.1), "b": np.int64(3), "c": (np.bool_(True), None), "d": date(2026, 11, 25),
        "e": Decimal("2.5"), "f": number, 7: "x", "g": Severity.FIX,
    }  # fmt: skip
    made = plain(given)
    assert made == {
        "a": 0.1, "b": 3, "c": [True, None], "d": "2026-11-25", "e": 2.5, "f": shown, "7": "x", "g": "fix",
    }  # fmt: skip
    assert [type(v) for v in made.values()] == [float, int, list, str, float, type(shown), str, str]
    assert type(made["c"][0]) is bool
    assert json.loads(as_json(given)) == made


def test_the_number_of_queries_does_not_grow_with_the_findings(team):
    def queries_of(number: int) -> int:
        Flag.objects.all().delete()
        Part.objects.all().delete()
        found = [finding(p) for p in parts(team, number)]
        with CaptureQueriesContext(connection) as queries:
            sync(team, *found)
            sync(team, *found[1:], at=1)
        return len(queries)

    assert queries_of(2) == queries_of(40)  # SQLite takes the rows in batches of some 50


def test_a_finder_that_fails_leaves_everything_as_it_was(team, part):
    sync(team, finding(part))

    def fails(team_ids, *, now):
        raise ValueError("a curve with one point")

    with pytest.raises(ValueError, match="a curve with one point"):
        flags_sync(sweep="stock", team_ids=[team.pk], now=night(1), find=fails)
    assert only_flag().state == "open"


def test_an_unknown_sweep_is_refused_by_name():
    with pytest.raises(KeyError, match="batteries, loads, stock"):
        finder_of("weather")
    assert SWEEPS == ("batteries", "loads", "stock")
