"""Time-current bands of many protective devices at once: how soon each may open, how late at the latest.

A device is judged by the points of its own sheet, padded to arrays so that the circuits of a league are looked up in a
few operations. Public names: `DeviceBands`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray, Number, known

__all__ = ["DeviceBands"]

Rows = npt.NDArray[np.int64]


def _stated(seconds: FloatArray) -> FloatArray:
    """Times with NaN for those not stated; 'never' is no time."""
    return np.where(np.isinf(seconds), np.nan, known(seconds, zero_ok=False))


@dataclass(frozen=True)
class _Side:
    """One edge of the bands: knots per device as logarithms, the last one repeated; no knots at all is NaN."""

    log_multiple: FloatArray
    log_s: FloatArray

    @classmethod
    def build(cls, devices: int, device: Rows, multiple: FloatArray, seconds: FloatArray) -> _Side:
        """Pad the points, which stand in the order of device and multiple."""
        counts = np.bincount(device, minlength=devices)
        width = max(1, int(counts.max(initial=0)))
        first = np.cumsum(counts) - counts
        place = first[:, None] + np.minimum(np.arange(width), np.maximum(counts - 1, 0)[:, None])
        none = counts == 0

        def padded(values: FloatArray) -> FloatArray:
            if not values.size:
                return np.full((devices, width), np.nan)
            taken: FloatArray = np.log(values)[np.minimum(place, values.size - 1)]
            taken[none] = np.nan
            return taken

        return cls(padded(multiple), padded(seconds))

    def log_s_at(self, row: Rows, log_multiple: FloatArray) -> FloatArray:
        """Straight lines between the knots in logarithms, level outside them."""
        knots = self.log_multiple[row]
        after = np.sum(knots <= log_multiple[..., None], axis=-1)
        last = knots.shape[-1] - 1
        left, right = np.clip(after - 1, 0, last), np.minimum(after, last)
        x0, x1 = (self.log_multiple[row, at] for at in (left, right))
        y0, y1 = (self.log_s[row, at] for at in (left, right))
        span = x1 - x0
        share = np.where(span > 0.0, (log_multiple - x0) / np.where(span > 0.0, span, 1.0), 0.0)
        value: FloatArray = np.where(share > 0.0, y0 + (y1 - y0) * share, y0)
        return value


@dataclass(frozen=True)
class DeviceBands:
    """The bands of some devices; a row number picks the device of each circuit, a negative one means none.

    `rating_a`: array [A]. `holds_multiple`: array [-], up to which the device stays closed for ever. `by_heat`: bool
    array, whether heat opens it (a fuse, a thermal breaker) and not a coil or a circuit.
    """

    rating_a: FloatArray
    holds_multiple: FloatArray
    by_heat: BoolArray
    _early: _Side
    _late: _Side

    @classmethod
    def build(
        cls,
        rating_a: FloatArray,
        by_heat: BoolArray,
        *,
        device: Rows,
        multiple: FloatArray,
        earliest_s: FloatArray,
        latest_s: FloatArray,
    ) -> DeviceBands:
        """Take the points of all devices as flat columns, in any order; NaN where a point states no time.

        A point that states neither time is a multiple at which the device holds. Points at or below the multiple
        that holds say nothing and are left out, and so is a time that is not stated: the edges have their own knots.
        """
        devices = np.asarray(rating_a).size
        order = np.lexsort((multiple, device))
        order = order[(device[order] >= 0) & (multiple[order] > 0.0)]
        device, multiple = device[order], multiple[order]
        early, late = (_stated(seconds[order]) for seconds in (earliest_s, latest_s))
        holds = np.ones(devices)
        neither = np.isnan(early) & np.isnan(late)
        np.maximum.at(holds, device[neither], multiple[neither])
        above = multiple > holds[device]
        soonest, latest = (
            _Side.build(devices, device[use], multiple[use], seconds[use])
            for seconds in (early, late)
            for use in (above & ~np.isnan(seconds),)
        )
        # No device opens later at a larger current; where points say so, the safe side of them counts.
        soonest = replace(soonest, log_s=np.minimum.accumulate(soonest.log_s, axis=1))
        latest = replace(latest, log_s=np.maximum.accumulate(latest.log_s[:, ::-1], axis=1)[:, ::-1])
        return cls(
            np.asarray(rating_a, dtype=np.float64),
            holds,
            np.asarray(by_heat, dtype=np.bool_),
            soonest,
            latest,
        )

    def _row(self, device: Rows, current_a: Number) -> tuple[Rows, FloatArray, BoolArray]:
        """Device, current as a multiple of the rating, and where there is a device at all."""
        rows, amps = np.asarray(device), known(current_a)
        there = rows >= 0
        rows = np.where(there, rows, 0)
        if not self.rating_a.size:
            nothing = np.full(np.broadcast_shapes(rows.shape, amps.shape), np.nan)
            return rows, nothing, np.zeros(rows.shape, dtype=np.bool_)
        return rows, amps / known(self.rating_a[rows], zero_ok=False), there

    def earliest_s(self, device: Rows, current_a: Number) -> FloatArray:
        """The shortest opening time [s] at these currents [A]: infinite where the device holds, 0 beyond its last
        point, NaN without points."""
        return self._earliest(device, current_a, beyond_last=0.0)

    def earliest_bound_s(self, device: Rows, current_a: Number) -> FloatArray:
        """As `earliest_s`, but beyond its last point the time of that point: it surely opens no later than that."""
        return self._earliest(device, current_a, beyond_last=None)

    def _earliest(self, device: Rows, current_a: Number, beyond_last: float | None) -> FloatArray:
        rows, multiple, there = self._row(device, current_a)
        if not self.rating_a.size:
            return multiple
        with np.errstate(divide="ignore", invalid="ignore"):
            log_multiple = np.log(multiple)
            seconds = np.exp(self._early.log_s_at(rows, log_multiple))
            beyond = log_multiple > self._early.log_multiple[rows, -1] + 1e-12
        if beyond_last is not None:
            seconds = np.where(beyond, beyond_last, seconds)
        seconds = np.where(multiple <= self.holds_multiple[rows] * (1 + 1e-12), np.inf, seconds)
        return np.where(there & ~np.isnan(multiple), seconds, np.nan)

    def latest_s(self, device: Rows, current_a: Number) -> FloatArray:
        """The longest opening time [s] at these currents [A]: infinite below the first point, NaN without points.

        Beyond the last point no device takes longer than there; one that heat opens lets through no more I2t than
        there, for the quicker it heats the less heat is lost (common practice, no source).
        """
        rows, multiple, there = self._row(device, current_a)
        if not self.rating_a.size:
            return multiple
        with np.errstate(divide="ignore", invalid="ignore"):
            log_multiple = np.log(multiple)
            log_s = self._late.log_s_at(rows, log_multiple)
            last = self._late.log_multiple[rows, -1]
            heated = self.by_heat[rows] & (log_multiple > last)
            seconds = np.exp(np.where(heated, log_s - 2.0 * (log_multiple - last), log_s))
        below = log_multiple < self._late.log_multiple[rows, 0] - 1e-12
        return np.where(there & ~np.isnan(multiple), np.where(below, np.inf, seconds), np.nan)

    @property
    def pickup_a(self) -> FloatArray:
        """Per device the least current [A] at which it opens for certain; NaN where no point says so."""
        return self.rating_a * np.exp(self._late.log_multiple[:, 0])

    @property
    def holds_a(self) -> FloatArray:
        """Per device the current [A] it carries for ever."""
        return self.rating_a * self.holds_multiple

    @property
    def earliest_known_to_a(self) -> FloatArray:
        """Per device the largest current [A] at which its points say how soon it may open."""
        last = self.rating_a * np.exp(self._early.log_multiple[:, -1])
        return np.where(np.isnan(last), self.holds_a, last)

    @property
    def earliest_knots_a(self) -> FloatArray:
        """(devices, k) currents [A] of the knots of the early edge."""
        return self.rating_a[:, None] * np.exp(self._early.log_multiple)

    @property
    def latest_knots_a(self) -> FloatArray:
        """(devices, k) currents [A] of the knots of the late edge."""
        return self.rating_a[:, None] * np.exp(self._late.log_multiple)
