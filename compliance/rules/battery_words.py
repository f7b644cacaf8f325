"""What the battery rules say in words: why a reading was left out, and which reading would settle a doubt."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shared.planning.trends import BatteryPolicy, BatteryState, CapacityDoubt, LeftOut

STATE_WORDS: dict[int, str] = {
    BatteryState.NO_READINGS: "No readings",
    BatteryState.NONE_COMPARABLE: "None comparable",
    BatteryState.NO_BASELINE: "No baseline",
    BatteryState.TOO_FEW_READINGS: "Too few readings",
    BatteryState.FIT: "Fit",
    BatteryState.WATCH: "Watch",
    BatteryState.PRACTICE_ONLY: "Practice only",
    BatteryState.RETIRE: "Retire",
}

DOUBT_WORDS: dict[int, str] = {
    CapacityDoubt.NO_RATED_RATE: "its current is not the one the model's capacity is rated at",
    CapacityDoubt.OTHER_END_VOLTAGE: "it stopped at another end voltage than the rated one",
    CapacityDoubt.TOO_WARM_OR_COLD: "it was taken too cold or too warm",
}


def left_out_words(code: int, policy: BatteryPolicy) -> str:
    """Why a reading cannot join the trend, with the limit it met."""
    words = {
        LeftOut.USED: "",
        LeftOut.IMPLAUSIBLE: f"outside {policy.lowest_mohm:g} to {policy.highest_mohm:g} mΩ",
        LeftOut.CHARGE_UNKNOWN: "neither rest voltage nor state of charge noted",
        LeftOut.NOT_FULL: "battery not full",
        LeftOut.TOO_WARM_OR_COLD: f"not at {policy.low_temperature_c:g} to {policy.high_temperature_c:g} °C",
        LeftOut.NOT_RESTED: f"rested less than {policy.min_rest_h:g} h",
        LeftOut.BREAK_IN: f"in its first {policy.break_in_cycles:g} cycles",
    }
    return words[LeftOut(code)]


def reasons_counted(codes: npt.NDArray[np.int64], policy: BatteryPolicy) -> str:
    """The reasons of several readings, the most frequent first: '3 battery not full, 1 ...'."""
    counts = np.bincount(codes, minlength=len(LeftOut))
    often = [
        int(code) for code in np.argsort(-counts, kind="stable") if code != LeftOut.USED and counts[code]
    ]
    return ", ".join(f"{counts[code]} {left_out_words(code, policy)}" for code in often)


def how_to_read(policy: BatteryPolicy, instrument: str = "") -> str:
    """The reading that counts, as an instruction."""
    meter = f", with {instrument}" if instrument else ""
    return (
        f"charged full, rested {policy.min_rest_h:g} h, at {policy.low_temperature_c:g} to "
        f"{policy.high_temperature_c:g} °C, with its rest voltage noted{meter}"
    )


def days(count: float) -> str:
    """A number of days with its noun."""
    return f"{count:g} day" if count == 1 else f"{count:g} days"
