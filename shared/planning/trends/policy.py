"""Policy: the limits a team may change, each with where its default comes from."""

from dataclasses import dataclass, field


def _limit(default: float, source: str, unit: str) -> float:
    """A policy row: default value, unit and source, readable through ``policy_rows``."""
    row: float = field(default=default, metadata={"source": source, "unit": unit})
    return row


_TEAM = "common practice, no source; inside the span of the published rows"


@dataclass(frozen=True, kw_only=True)
class BatteryPolicy:
    """Limits for judging batteries. A verdict belongs to (readings, policy), never to the readings alone."""

    watch_rise_frac: float = _limit(
        0.20,
        "+20 % over baseline as trigger for a capacity test, UPS battery testing guides (secondary)",
        "1",
    )
    practice_rise_frac: float = _limit(
        0.30, "+30 to +50 % over baseline is significant, IEEE 1188-2005 Annex C.4 (quoted second-hand)", "1"
    )
    retire_rise_frac: float = _limit(
        0.50, "+50 % over baseline, usual warranty limit beside IEEE 1188-2005 (secondary)", "1"
    )
    alpha: float = _limit(0.05, "one-sided 5 % point of the exact Mann-Kendall table, Kendall (1975)", "1")
    confidence_frac: float = _limit(0.95, "interval of the slope after Sen (1968)", "1")
    min_readings: float = _limit(
        6,
        "from the power of the exact test: 5 readings find +2 % a reading in 41 % of cases, 7 in 77 %",
        "readings",
    )
    baseline_readings: float = _limit(3, _TEAM, "readings")
    break_in_cycles: float = _limit(5, _TEAM, "cycles")
    full_soc_frac: float = _limit(0.95, _TEAM, "1")
    low_temperature_c: float = _limit(15, _TEAM, "C")
    high_temperature_c: float = _limit(30, _TEAM, "C")
    min_rest_h: float = _limit(4, "rest before a voltage counts: published advice runs from 4 to 24 h", "h")
    lowest_mohm: float = _limit(
        2, "our choice: a 12 V block outside 2-200 mOhm is a slip of unit or hand", "mOhm"
    )
    highest_mohm: float = _limit(
        200, "our choice: a 12 V block outside 2-200 mOhm is a slip of unit or hand", "mOhm"
    )
    sudden_rise_frac: float = _limit(0.30, _TEAM, "1")
    sudden_within_d: float = _limit(14, "our choice: no battery ages this much in two weeks", "d")
    watch_capacity_frac: float = _limit(
        0.90, "below 90 % of rated: test yearly, IEEE 1188-2005 (quoted second-hand)", "1"
    )
    retire_capacity_frac: float = _limit(
        0.80, "below 80 % of rated: end of life, IEEE 450 and 1188 (secondary)", "1"
    )
    rate_tolerance_frac: float = _limit(
        0.10, "our choice; a 20 Ah block gives 20.6 Ah or 11.7 Ah by rate alone", "1"
    )
    end_voltage_tolerance_v: float = _limit(0.15, "our choice, half the step between rated end voltages", "V")
    sag_excess_frac: float = _limit(0.20, "our choice: some 5 mΩ on a battery with its leads and joints", "1")
    min_outings: float = _limit(
        5, "sign test: five of five have a chance of 1/32, four of four 1/16", "outings"
    )
    charge_doubt_frac: float = _limit(
        0.15, "what a percentage read from a rest voltage is worth: spread of six published lists", "1"
    )
    watch_age_d: float = _limit(1095, _TEAM + " (two to three seasons of use)", "d")
    watch_cycles: float = _limit(
        200, "makers' cycle life at 100 % depth of discharge, small AGM blocks", "cycles"
    )

    def __post_init__(self) -> None:
        """Refuse limits that contradict each other."""
        if not 0 < self.watch_rise_frac <= self.practice_rise_frac <= self.retire_rise_frac:
            raise ValueError("rise limits must be positive and in the order watch, practice only, retire")
        if not 0 < self.retire_capacity_frac <= self.watch_capacity_frac:
            raise ValueError("the capacity limit to retire cannot lie above the one to watch")
        if self.baseline_readings < 1 or self.min_readings < 2 * self.baseline_readings:
            raise ValueError("at least twice as many readings are needed as make the baseline")
        if not (0 < self.alpha < 1 and 0 < self.confidence_frac < 1):
            raise ValueError("alpha and confidence must lie between 0 and 1")


def policy_rows(policy: BatteryPolicy) -> list[tuple[str, float, str, str]]:
    """List a policy as (name, value, unit, source of the default).

    Parameters
    ----------
    policy : BatteryPolicy

    Returns
    -------
    list of (str, float [unit named beside it], str, str)

    Errors
    ------
    none

    Validity: the source speaks for the default; a changed value is the team's own.

    Source: the rows themselves.

    >>> policy_rows(BatteryPolicy())[2][:3]
    ('retire_rise_frac', 0.5, '1')
    """
    fields = policy.__dataclass_fields__
    return [(n, getattr(policy, n), f.metadata["unit"], f.metadata["source"]) for n, f in fields.items()]


DEFAULT_POLICY = BatteryPolicy()
