"""What runs when, and what an edit sets off. Part of the composition root: upper apps are strings only."""

from __future__ import annotations

from dataclasses import dataclass

from celery.schedules import crontab

#: How soon after an edit a sweep starts; edits within this time share one run.
DEBOUNCE_S = 3.0


@dataclass(frozen=True)
class Job:
    """A background job by name: the function that does it and how long one attempt may take."""

    function: str
    title: str
    lease_s: int = 600
    every: crontab | None = None
    off_switch: str = ""
    late_after_s: int = 0
    part_of: str = ""  # the job that shares itself out into runs of this one; nobody asks for these alone
    done_by: str = ""  # the scheduled job that does this one too, for every team
    debounce_s: float = DEBOUNCE_S  # how soon after an edit it starts; edits within this time share one run
    patient: bool = (
        False  # takes minutes: does a slice at a time and lets every other run that is due go first
    )


#: A sweep reports after every chunk of teams, which takes seconds; a worker that is silent for longer is gone.
SWEEP_LEASE_S = 120
#: A study of a few batteries takes seconds and is reported on its way.
MATCH_LEASE_S = 120
#: The search for a plan ends after some seconds.
ROTATION_LEASE_S = 60

#: Job name -> how it is run. The function takes (run: JobRun) and returns counts for the run's row.
JOBS: dict[str, Job] = {
    "sweep.all": Job(
        "compliance.tasks.sweep_all",
        "All sweeps, every team",
        lease_s=SWEEP_LEASE_S,
        every=crontab(minute="15", hour="3"),
        off_switch="NIGHTLY_SWEEP",
        late_after_s=2 * 24 * 3600,
    ),
    "sweep.chunk": Job(
        "compliance.tasks.sweep_chunk",
        "All sweeps, some of the teams",
        lease_s=SWEEP_LEASE_S,
        part_of="sweep.all",
    ),
    "sweep.batteries": Job(
        "compliance.tasks.sweep_batteries", "Ageing batteries", SWEEP_LEASE_S, done_by="sweep.all"
    ),
    "sweep.loads": Job(
        "compliance.tasks.sweep_loads", "Undersized parts", SWEEP_LEASE_S, done_by="sweep.all"
    ),
    "sweep.stock": Job(
        "compliance.tasks.sweep_stock", "Stock before the next event", SWEEP_LEASE_S, done_by="sweep.all"
    ),
    "match.all": Job(
        "builds.tasks.match_all",
        "Look for missing match studies, every team",
        lease_s=MATCH_LEASE_S,
        every=crontab(minute="45", hour="3"),
        off_switch="NIGHTLY_STUDIES",
    ),
    "match.team": Job(
        "builds.tasks.match_team",
        "Match studies of the robots that go to an event",
        lease_s=MATCH_LEASE_S,
        debounce_s=20.0,
        patient=True,
    ),
    "match.build": Job(
        "builds.tasks.match_build", "Match studies of one build", lease_s=MATCH_LEASE_S, patient=True
    ),
    "rotation.plan": Job(
        "compliance.rotation_tasks.rotation_plan",
        "Best rotation of an event's batteries",
        lease_s=ROTATION_LEASE_S,
        debounce_s=0.0,
    ),
    "rotation.look": Job(
        "compliance.rotation_tasks.rotation_look",
        "Look whether the plans of events still hold",
        lease_s=ROTATION_LEASE_S,
        done_by="rotation.all",
        debounce_s=1.0,
    ),
    "rotation.all": Job(
        "compliance.rotation_tasks.rotation_all",
        "Look at the plans of events that are on",
        lease_s=ROTATION_LEASE_S,
        every=crontab(minute="*/15", hour="6-22"),
    ),
    "receipts.purge": Job(
        "shared.receipts.purge", "Drop old receipts of entries", every=crontab(minute="30", hour="4")
    ),
}

#: An edited model -> the sweeps and studies whose answer it could change.
SWEEPS_AFTER: dict[str, tuple[str, ...]] = {
    "inventory.WireType": ("sweep.loads", "match.team"),
    "inventory.TerminalType": ("sweep.loads",),
    "inventory.ProtectiveDevice": ("sweep.loads", "match.team"),
    "inventory.DevicePoint": ("sweep.loads", "match.team"),
    "inventory.Component": ("sweep.loads", "match.team"),
    "inventory.BatteryModel": ("sweep.batteries", "sweep.loads", "match.team"),
    "inventory.Part": ("sweep.stock",),
    "inventory.Offer": ("sweep.stock",),
    "inventory.Supplier": ("sweep.stock",),
    "inventory.Bin": ("sweep.stock",),
    "inventory.Movement": ("sweep.stock",),
    "inventory.Spool": ("sweep.stock",),
    "inventory.Battery": ("sweep.batteries", "sweep.loads", "match.team", "rotation.look"),
    "inventory.Reading": ("sweep.batteries", "sweep.loads", "match.team", "rotation.look"),
    "inventory.Charge": ("sweep.batteries", "rotation.look"),
    "inventory.Charger": ("rotation.look",),
    "inventory.BatteryIncident": ("sweep.batteries", "rotation.look"),
    "inventory.CapacityTest": ("sweep.batteries", "match.team", "rotation.look"),
    "builds.Season": ("sweep.loads", "match.team"),
    "builds.Robot": ("sweep.loads", "sweep.stock", "match.team"),
    "builds.Build": ("sweep.loads", "sweep.stock", "match.team", "rotation.look"),
    "builds.BuildLine": ("sweep.stock",),
    "builds.Circuit": ("sweep.loads", "sweep.stock", "match.team", "rotation.look"),
    "builds.DutyProfile": ("match.team",),
    "builds.DutyPhase": ("match.team",),
    "builds.Event": ("sweep.stock", "match.team", "rotation.look"),
    "builds.Match": ("sweep.stock", "rotation.look"),
    "builds.Handling": ("rotation.look",),
    "builds.Outing": ("sweep.batteries", "rotation.look"),
    "compliance.RulePack": ("sweep.batteries", "sweep.loads", "sweep.stock", "rotation.look"),
    "compliance.RuleSetting": ("sweep.batteries", "sweep.loads", "sweep.stock", "rotation.look"),
}

#: Where the sheets of the workbook are declared, in the order in which they can be read in.
WORKBOOK_SHEETS: tuple[str, ...] = (
    "inventory.sheets.SHEETS",
    "builds.sheets.SHEETS",
    "compliance.sheets.SHEETS",
)

#: How often beat looks for runs whose nudge was lost or whose worker died.
NUDGE_EVERY_S = 20.0
