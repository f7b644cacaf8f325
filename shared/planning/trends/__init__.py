"""Ageing of batteries: comparable readings, robust trend, significance and size, and when a limit is met."""

from shared.planning.trends.capacity import CapacityDoubt, CapacityVerdict, judge_capacity, judge_use
from shared.planning.trends.charts import cusum, ewma, individuals_limits, newest_against_fit
from shared.planning.trends.comparable import LeftOut, Readings, Series, comparable_series, left_out
from shared.planning.trends.crossing import Crossing, CrossingKind, crossing_many, line_crossing
from shared.planning.trends.judge import BatteryState, Judgement, judge_batteries
from shared.planning.trends.mann_kendall import (
    TrendTest,
    exact_p_rise,
    mann_kendall,
    mann_kendall_many,
    null_counts,
)
from shared.planning.trends.outings import (
    ChargeUse,
    OutingDoubt,
    OutingJudgement,
    OutingLeftOut,
    Outings,
    charge_use,
    judge_outings,
)
from shared.planning.trends.policy import DEFAULT_POLICY, BatteryPolicy, policy_rows
from shared.planning.trends.signs import MedianInterval, chance_of_signs, median_interval
from shared.planning.trends.theil_sen import TrendFit, theil_sen, theil_sen_many

__all__ = [
    "DEFAULT_POLICY",
    "BatteryPolicy",
    "BatteryState",
    "CapacityDoubt",
    "CapacityVerdict",
    "ChargeUse",
    "Crossing",
    "CrossingKind",
    "Judgement",
    "LeftOut",
    "MedianInterval",
    "OutingDoubt",
    "OutingJudgement",
    "OutingLeftOut",
    "Outings",
    "Readings",
    "Series",
    "TrendFit",
    "TrendTest",
    "chance_of_signs",
    "charge_use",
    "comparable_series",
    "crossing_many",
    "cusum",
    "ewma",
    "exact_p_rise",
    "individuals_limits",
    "judge_batteries",
    "judge_capacity",
    "judge_outings",
    "judge_use",
    "left_out",
    "line_crossing",
    "mann_kendall",
    "mann_kendall_many",
    "median_interval",
    "newest_against_fit",
    "null_counts",
    "policy_rows",
    "theil_sen",
    "theil_sen_many",
]
