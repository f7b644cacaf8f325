"""Why a flag clears: a reader must be able to tell a mended fault from a rule that was switched off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from compliance.selectors.packs import PackTable
from compliance.selectors.subjects import JUDGING, ids_there, seasons_judged
from compliance.services.flag_diff import Key, Known

PASSES = "the check passes now"
SWITCHED_OFF = "the rule is switched off"
NOT_JUDGED = "the subject is no longer judged: {}"
DELETED = "the subject was deleted"


def reasons(gone: Mapping[Key, Known], *, team_ids: Sequence[int]) -> dict[Key, str]:
    """The reason of each flag that clears; a few queries for all of them."""
    if not gone:
        return {}
    packs = PackTable.load(team_ids)
    ids: dict[str, list[int]] = {}
    for _, kind, subject_id in gone:
        ids.setdefault(kind, []).append(subject_id)
    seasons = {kind: seasons_judged(kind, of_kind) for kind, of_kind in ids.items()}
    there = {kind: ids_there(kind, of_kind) for kind, of_kind in ids.items()}
    answers = {}
    for key, flag in gone.items():
        code, kind, subject_id = key
        if subject_id not in there[kind]:
            answers[key] = DELETED
        elif subject_id not in seasons[kind]:
            answers[key] = NOT_JUDGED.format(JUDGING[kind].why_not)
        elif _is_off(packs, code, packs.pack_of(flag.team_id, seasons[kind][subject_id])):
            answers[key] = SWITCHED_OFF
        else:
            answers[key] = PASSES
    return answers


def _is_off(packs: PackTable, code: str, pack: int) -> bool:
    setting = packs.settings.get(code, {}).get(pack)
    return setting is not None and not setting.enabled
