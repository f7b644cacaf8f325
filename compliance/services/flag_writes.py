"""The rows a sweep writes: flags in one upsert, their history in one insert; nothing where nothing changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from django.db.models import DateTimeField, Exists, OuterRef, Value
from django.db.models.functions import Left
from simple_history.utils import bulk_update_with_history

from compliance.models import Flag, FlagEvent, FlagState, Waiver
from compliance.rules.base import Finding
from compliance.services.fast_insert import insert_rows, insert_selected
from compliance.services.flag_diff import SAID, Diff, Key, Known, said_by, words_of
from shared.models import JobRun

Kind = FlagEvent.Kind
_BATCH = 500
#: The longest detail of an event.
DETAIL = 400
_EVENT = ("flag_id", "at", "kind", "severity", "detail", "run_id")
_NEW = (
    "team_id", "rule_code", "sweep", "subject_kind", "subject_id", "state", "opened_at", "changed_at", "cleared_at",
    "cleared_reason", "run_id", "created_at", "updated_at", *SAID,
)  # fmt: skip


class FlagWriter:
    """Writes what became of the flags of one sweep at one moment."""

    def __init__(self, *, sweep: str, now: datetime, run: JobRun | None) -> None:
        self.sweep = sweep
        self.now = now
        self.run = run

    def write(self, result: Diff, reasons: dict[Key, str]) -> None:
        self._open(result)
        self._change(result)
        self._clear(result, reasons)
        self._end_waivers([known.pk for known, _ in result.escalated])

    # --- flags -----------------------------------------------------------------------------------

    def _open(self, result: Diff) -> None:
        """New rows, and rows that open again: both start afresh."""
        insert_rows(Flag, _NEW, (self._new_row(finding) for finding in result.opened))
        again = [self._flag(finding, pk=known.pk) for known, finding in result.reopened]
        reopened = [
            (known.pk, flag.severity, flag.message)
            for (known, _), flag in zip(result.reopened, again, strict=True)
        ]
        self._update(
            again, (*SAID, "state", "opened_at", "changed_at", "cleared_at", "cleared_reason", "run")
        )
        self._tell_opened(result)
        self._tell(Kind.REOPENED, reopened)

    def _new_row(self, finding: Finding) -> list[object]:
        now, run = self.now, self.run.pk if self.run else None
        return [
            int(finding.team_id), str(finding.rule_code), self.sweep, str(finding.subject_kind),
            int(finding.subject_id), FlagState.OPEN.value, now, now, None, "", run, now, now, *words_of(finding),
            finding.working,
        ]  # fmt: skip

    def _tell_opened(self, result: Diff) -> None:
        """The first event of the rows just inserted: those of this sweep and moment that have none yet."""
        if not result.opened:
            return
        teams = {int(finding.team_id) for finding in result.opened}
        new = Flag.objects.filter(
            ~Exists(FlagEvent.objects.filter(flag=OuterRef("pk"))),
            team_id__in=teams,
            sweep=self.sweep,
            created_at=self.now,
        ).order_by("pk")
        moment = Value(self.now, output_field=DateTimeField())
        told = ("pk", moment, Value(Kind.OPENED.value), "severity", Left("message", DETAIL), "run_id")
        insert_selected(FlagEvent, _EVENT, new.values_list(*told))

    def _change(self, result: Diff) -> None:
        told = [*result.escalated, *result.eased, *result.reworded]
        self._update([self._flag(f, pk=known.pk) for known, f in told], (*SAID, "changed_at", "run"))
        self._update([self._flag(f, pk=known.pk) for known, f in result.quiet], (*SAID, "run"))
        self._tell(Kind.ESCALATED, self._moves(result.escalated))
        self._tell(Kind.EASED, self._moves(result.eased))

    def _flag(self, finding: Finding, pk: int | None = None) -> Flag:
        return Flag(
            pk=pk,
            team_id=finding.team_id,
            rule_code=finding.rule_code,
            sweep=self.sweep,
            subject_kind=finding.subject_kind,
            subject_id=finding.subject_id,
            state=FlagState.OPEN,
            opened_at=self.now,
            changed_at=self.now,
            run=self.run,
            **dict(zip(SAID, said_by(finding), strict=True)),
        )

    @staticmethod
    def _update(flags: list[Flag], fields: tuple[str, ...]) -> None:
        """An upsert on the key that always meets its row: an update by CASE for each column is many times slower."""
        if not flags:
            return
        for flag in flags:
            flag.pk = None
        Flag.objects.bulk_create(
            flags,
            batch_size=_BATCH,
            update_conflicts=True,
            unique_fields=["rule_code", "subject_kind", "subject_id"],
            update_fields=[*fields, "updated_at"],
        )

    def _clear(self, result: Diff, reasons: dict[Key, str]) -> None:
        by_reason: dict[str, list[Known]] = {}
        for key, known in result.gone.items():
            by_reason.setdefault(reasons[key], []).append(known)
        for reason, flags in sorted(by_reason.items()):
            Flag.objects.filter(pk__in=[flag.pk for flag in flags]).update(
                state=FlagState.CLEARED,
                cleared_at=self.now,
                changed_at=self.now,
                updated_at=self.now,
                cleared_reason=reason,
                run=self.run,
            )
            self._tell(Kind.CLEARED, ((flag.pk, flag.severity, reason) for flag in flags))

    # --- history ---------------------------------------------------------------------------------

    @staticmethod
    def _moves(changed: Iterable[tuple[Known, Finding]]) -> Iterator[tuple[int, str, str]]:
        for known, finding in changed:
            yield known.pk, finding.severity, f"was {known.severity}: {finding.message}"

    def _tell(self, kind: str, lines: Iterable[tuple[int, str, str]]) -> None:
        run = self.run.pk if self.run else None
        rows = [[pk, self.now, str(kind), severity, detail[:DETAIL], run] for pk, severity, detail in lines]
        insert_rows(FlagEvent, _EVENT, rows)

    def _end_waivers(self, escalated: list[int]) -> None:
        """Who waived a flag did not answer for something worse."""
        if not escalated:
            return
        waivers = list(
            Waiver.objects.filter(flag_id__in=escalated, withdrawn_at__isnull=True).select_related("flag")
        )
        for waiver in waivers:
            waiver.withdrawn_at = self.now
        if waivers:
            reason = "The flag became more serious than it was when it was waived"
            bulk_update_with_history(waivers, Waiver, ["withdrawn_at"], default_change_reason=reason)
            self._tell(Kind.WAIVER_ENDED, ((w.flag_id, w.flag.severity, reason) for w in waivers))
