"""A small world for tests that run over everything: two teams with one row of every kind, and a known cast."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Model
from django.utils import timezone

from builds.models import (
    Build,
    BuildLine,
    BuildState,
    Circuit,
    CircuitRole,
    DutyPhase,
    DutyProfile,
    Event,
    Handling,
    Match,
    MatchStudy,
    Outing,
    Robot,
    RotationPlan,
    RotationStep,
    Season,
)
from compliance.models import Flag, RulePack, RuleSetting, Waiver
from inventory.models import (
    Battery,
    BatteryIncident,
    BatteryModel,
    Bin,
    CapacityTest,
    Charge,
    Charger,
    Component,
    DevicePoint,
    Method,
    Offer,
    Part,
    ProtectiveDevice,
    Reading,
    Supplier,
    TerminalType,
    WireType,
)
from inventory.services.ledger import stock_receive
from inventory.services.spools import spool_create
from shared.access import system_scope
from shared.models import JobRun, Membership, Role, Team, User

PASSWORD = "a-test-password-of-some-length"
DAY = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)


@dataclass
class TeamWorld:
    """A team with one row of every kind, reachable by model."""

    team: Team
    rows: dict[type[Model], Any] = field(default_factory=dict)

    def pk(self, model: type[Model]) -> int:
        """The id of this team's row of a model (or of a model that extends it)."""
        if model in self.rows:
            return int(self.rows[model].pk)
        raise KeyError(f"tests/world.py makes no row of {model._meta.label}; add one.")

    def add(self, row: Any) -> Any:
        row.full_clean()
        row.save()
        self.rows[type(row)] = row
        return row


@dataclass
class Cast:
    """Who asks: people of team ``home``, of team ``away``, and somebody of no team."""

    mentor: User
    lead: User
    member: User
    auditor: User
    outsider: User
    stranger: User


@dataclass
class World:
    home: TeamWorld
    away: TeamWorld
    cast: Cast


def person(name: str, team: Team | None = None, role: str = Role.MEMBER) -> User:
    user = User.objects.create_user(name, password=PASSWORD)
    if team is not None:
        Membership.objects.create(user=user, team=team, role=role)
    return user


def make_world() -> World:
    home = team_world("Gull Point", "gull-point")
    away = team_world("Far Shore", "far-shore")
    cast = Cast(
        mentor=person("mentor", home.team, Role.MENTOR),
        lead=person("lead", home.team, Role.LEAD),
        member=person("member", home.team, Role.MEMBER),
        auditor=person("auditor", home.team, Role.AUDITOR),
        outsider=person("outsider", away.team, Role.MENTOR),
        stranger=person("stranger"),
    )
    for world, user in ((home, cast.mentor), (away, cast.outsider)):
        world.rows[Membership] = Membership.objects.get(team=world.team, user=user)
        world.rows[User] = user
    return World(home, away, cast)


def team_world(name: str, slug: str) -> TeamWorld:
    team = Team.objects.create(name=name, slug=slug)
    world = TeamWorld(team)
    world.rows[Team] = team
    _catalogue(world)
    _stock(world)
    _batteries(world)
    _builds(world)
    _flags(world)
    return world


def _catalogue(w: TeamWorld) -> None:
    t = w.team
    w.add(WireType(team=t, code="W12", name="12 AWG red", size_typed="12 AWG", area_mm2=3.309, strands=65,
                   insulation_class_c=105, unit="m"))  # fmt: skip
    w.add(TerminalType(team=t, code="R12-M5", name="Ring 12-10, M5", form="ring", area_min_mm2=3.0, area_max_mm2=6.0,
                       hole_mm=5.3))  # fmt: skip
    device = w.add(ProtectiveDevice(team=t, code="F40", name="Blade fuse 40 A", form="blade", rating_a=40,
                                    interrupt_a=1000, voltage_v=32))  # fmt: skip
    w.add(DevicePoint(team=t, device=device, multiple=2.0, opens_min_s=0.15, opens_max_s=5, status="memory",
                      source="from memory"))  # fmt: skip
    w.add(BatteryModel(team=t, code="B18", name="12 V 18 Ah", chemistry="agm", capacity_ah=18, resistance_new_mohm=14,
                       rest_curve=[[1.0, 12.85], [0.5, 12.3], [0.0, 11.8]]))  # fmt: skip
    w.add(
        Component(
            team=t, code="MOT", name="Drive motor", role="motor", nominal_v=12, nominal_a=20, peak_a=100
        )
    )
    w.add(Part(team=t, code="TIE", name="Cable tie", minimum_stock=Decimal(5)))
    supplier = w.add(Supplier(team=t, name="Harbour Supplies"))
    w.add(Offer(team=t, part=w.rows[Part], supplier=supplier, price=Decimal("4.50"), pack_size=Decimal(100),
                lead_time_days=3))  # fmt: skip


def _stock(w: TeamWorld) -> None:
    scope = system_scope(w.team)
    bin_ = w.add(Bin(team=w.team, code="A1", name="Top shelf"))
    movement = stock_receive(scope=scope, part=w.rows[Part], bin=bin_, quantity=Decimal(20), at=DAY)
    w.rows[type(movement)] = movement
    stock_item = w.rows[Part].stock.get()
    w.rows[type(stock_item)] = stock_item
    spool = spool_create(scope=scope, code="S1", wire=w.rows[WireType], bin=bin_, full_length_m=Decimal(30))
    w.rows[type(spool)] = spool


def _batteries(w: TeamWorld) -> None:
    t = w.team
    battery = w.add(Battery(team=t, code="B01", model=w.rows[BatteryModel], acquired_on=date(2025, 1, 10),
                            in_service_on=date(2025, 1, 20), cycles_at_intake=10))  # fmt: skip
    for i in range(8):
        w.add(Reading(team=t, battery=battery, taken_at=DAY + timedelta(days=14 * i), resistance_mohm=14 + 0.1 * i,
                      method=Method.AC_1KHZ, instrument="Meter A", rest_v=12.9, rest_h=8,
                      temperature_c=21))  # fmt: skip
    charger = w.add(Charger(team=t, name="1", current_a=6))
    w.add(Charge(team=t, battery=battery, charger=charger, started_at=DAY, ended_at=DAY + timedelta(hours=3)))
    w.add(BatteryIncident(team=t, battery=battery, kind="lug", happened_at=DAY))
    w.add(CapacityTest(team=t, battery=battery, tested_at=DAY, current_a=0.9, end_v=10.8, capacity_ah=17.5,
                       temperature_c=21))  # fmt: skip


def _builds(w: TeamWorld) -> None:
    t = w.team
    season = w.add(Season(team=t, name="Season 26", starts_on=date(2026, 1, 1), ends_on=date(2026, 12, 31)))
    robot = w.add(Robot(team=t, code="heron", name="Heron", season=season))
    build = w.add(Build(team=t, robot=robot, label="rev A", dated=date(2026, 2, 1), state=BuildState.CURRENT,
                        battery_model=w.rows[BatteryModel], source_mohm=20))  # fmt: skip
    w.add(BuildLine(team=t, build=build, part=w.rows[Part], quantity=Decimal(10)))
    profile = w.add(DutyProfile(team=t, code="DRIVE", name="Dash and push"))
    w.add(DutyPhase(team=t, profile=profile, place=1, name="push", lasts_s=2, draw_frac=1.0, torque_frac=0.3))
    wire, ring, fuse = w.rows[WireType], w.rows[TerminalType], w.rows[ProtectiveDevice]
    w.add(Circuit(team=t, build=build, code="C1", name="Left drive", role=CircuitRole.BRANCH, device=fuse, wire=wire,
                  length_m=1.2, component=w.rows[Component], continuous_a=20, peak_a=60, duty_frac=0.2, cycle_s=10,
                  terminal_source=ring, stud_source_mm=5, terminal_load=ring, stud_load_mm=5, profile=profile,
                  limit_a=50))  # fmt: skip
    today = timezone.localdate()
    event = w.add(Event(team=t, name="Estuary Open", season=season, starts_on=today + timedelta(days=12),
                        ends_on=today + timedelta(days=13), goods_by=today + timedelta(days=9),
                        matches_planned=10))  # fmt: skip
    event.robots.add(robot)
    w.add(Handling(team=t, event=event))
    match = w.add(Match(team=t, event=event, robot=robot, number="1", starts_at=DAY))
    w.add(MatchStudy(team=t, build=build, battery=w.rows[Battery], key="0" * 64, runs=20, duration_s=150,
                     outcome={"schema": 1, "summary": {"brownout_frac": 0.1}}, computed_at=DAY))  # fmt: skip
    w.add(Outing(team=t, battery=w.rows[Battery], robot=robot, match=match, started_at=DAY, start_rest_v=12.9,
                 end_rest_v=12.5))  # fmt: skip
    plan = w.add(RotationPlan(team=t, event=event, asked_at=DAY, reason=RotationPlan.Reason.FIRST, current=True,
                              state=RotationPlan.State.READY, content_key="0" * 64,
                              told={"headline": "Match 1 has a fit and charged battery."}))  # fmt: skip
    w.add(RotationStep(team=t, plan=plan, match=match, battery=w.rows[Battery], fixed=True))


def _flags(w: TeamWorld) -> None:
    now = timezone.now()
    t = w.team
    flag = w.add(Flag(team=t, rule_code="wire-ampacity", sweep="loads", subject_kind="circuit",
                      subject_id=w.pk(Circuit), subject_label="Heron C1", severity="fix", message="Too thin.",
                      value=60, limit=45, unit="A", working={"steps": [], "conclusion": "Too thin."},
                      opened_at=now, changed_at=now))  # fmt: skip
    flag.events.create(at=now, kind="opened", severity="fix", detail="Too thin.")
    w.add(Waiver(team=t, flag=flag, reason="Only for practice", until=timezone.localdate() + timedelta(days=5),
                 by=person(f"{t.slug}-keeper", t, Role.MENTOR)))  # fmt: skip
    pack = w.add(RulePack(team=t, name="Estuary rules", source="Estuary League, first edition"))
    w.add(RuleSetting(team=t, pack=pack, rule_code="wire-drop", limits={}))
    w.rows[JobRun] = JobRun.objects.create(
        name="sweep.loads", team=t, dedupe_key=f"done-{t.slug}", state=JobRun.State.DONE, trigger="person",
        asked_at=now, not_before=now, started_at=now, finished_at=now, counts={"circuits": 1})  # fmt: skip
