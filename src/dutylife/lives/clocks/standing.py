"""Which readings of each machine can stand together, machines of like length side by side."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# a meter that starts again at 0 (replaced, or rolled over) is believed where that saves more than
# this many readings from being dropped; our proposal
RESET_COST = 1.5
# a rise this many times the usual rate is half a slip too: a few slips in a row are no new meter
LEAP_RATE, LEAP_COST = 5.0, 0.75
BAND = 32  # a path looks back over so many readings: more slips in a row are not thought of
# the usual rate is told by pairs so near each other: most of them lie within the life of one meter
NEAR = 3
_CELLS = 1_000_000  # pairs of readings looked at together: they stay in the cache's reach


@dataclass(frozen=True, slots=True)
class Rows:
    """Readings of all machines: in order of machine, day, reading.

    ``start`` has the first row of each machine, and the number of rows behind the last.
    """

    start: NDArray[np.int64]
    day: Array
    reading: Array

    @property
    def machine(self) -> NDArray[np.int64]:
        """Machine of each row."""
        return np.repeat(np.arange(len(self.start) - 1), np.diff(self.start))

    def taken(self, kept: Flags) -> "Rows":
        """Only some of the rows."""
        left = np.concatenate([[0], np.cumsum(kept)])[self.start]
        return Rows(left, self.day[kept], self.reading[kept])


def rows_that_stand(rows: Rows, fastest: float, *, reset_cost: float = RESET_COST) -> Flags:
    """Which readings stand on their machine's longest path that never falls nor outruns the clock.

    Parameters
    ----------
    rows : Rows
    fastest : float
        Largest rise a day; a day is granted for the unknown time of day of both readings.
    reset_cost : float
        A path may start again from 0 after any reading, at the price of this many readings; what
        the meter shows then is at most what the clock allows since. ``inf``: never.

    Returns
    -------
    ndarray of bool, shape (n,)
        Of paths of equal length, the one whose rises keep closest to the usual rate (the median
        over pairs of readings that can stand together, at most `NEAR` readings apart).

    Notes
    -----
    A machine whose readings all follow one another keeps them all, and is not looked at further:
    no path can be longer, and leaving one out never makes the rest more usual by as much.
    """
    kept = np.ones(len(rows.day), dtype=bool)
    if len(rows.day) < 2:
        return kept
    wait, rise = np.diff(rows.day), np.diff(rows.reading)
    wrong = (rise < 0) | (rise > fastest * (wait + 1.0))
    wrong[rows.start[1:-1] - 1] = False  # from one machine to the next
    if not wrong.any():
        return kept
    doubtful = np.unique(np.searchsorted(rows.start, np.flatnonzero(wrong), side="right") - 1)
    count = np.diff(rows.start)[doubtful]
    order = np.argsort(-count, kind="stable")
    doubtful, count = doubtful[order], count[order]
    first = 0
    while first < len(doubtful):
        width = int(count[first])
        last = first + max(1, _CELLS // (width * min(BAND, width)))
        some, many = doubtful[first:last], count[first:last]
        at = rows.start[some][:, None] + np.arange(width)
        inside = np.arange(width) < many[:, None]
        at = np.where(inside, at, rows.start[some][:, None])
        day = np.where(inside, rows.day[at], np.nan)
        reading = np.where(inside, rows.reading[at], np.nan)
        found = _longest(day, reading, many, fastest, reset_cost)
        kept[at[inside]] = found[inside]
        first = last
    return kept


def _longest(
    day: Array, reading: Array, count: NDArray[np.int64], fastest: float, reset_cost: float
) -> Flags:
    """Longest paths of machines side by side, ``nan`` behind the last reading of each."""
    n_machines, width = day.shape
    band = min(BAND, width)
    gain = _gains(day, reading, count, band, fastest, reset_cost)
    score = np.full((n_machines, band + width), -np.inf)  # the first `band` stand for no reading
    previous = np.full((n_machines, width), -1)
    each = np.arange(n_machines)
    for j in range(width):
        ways = score[:, j : j + band] + gain[:, j]
        best = np.argmax(ways, axis=1)
        length = ways[each, best]
        goes_on = length > 1.0
        score[:, band + j] = np.where(j < count, np.where(goes_on, length, 1.0), -np.inf)
        previous[:, j] = np.where(goes_on, j - band + best, -1)
    found = np.zeros((n_machines, width), dtype=bool)
    at = width - 1 - np.argmax(score[:, : band - 1 : -1], axis=1)  # the latest of equals
    while (at >= 0).any():
        there = at >= 0
        found[each[there], at[there]] = True
        at = np.where(there, previous[each, at], -1)
    return found


def _gains(
    day: Array,
    reading: Array,
    count: NDArray[np.int64],
    band: int,
    fastest: float,
    reset_cost: float,
) -> Array:
    """What reading j adds to a path after each of the ``band`` readings before it.

    Returns
    -------
    ndarray, shape (machines, readings, band)
        ``-inf`` where the two can't follow each other.
    """
    wait = day[:, :, None] - _before(day, band)
    rise = reading[:, :, None] - _before(reading, band)
    fits = (rise >= 0) & (rise <= fastest * (wait + 1.0))
    slope = rise / np.maximum(wait, 1.0)
    near = np.where(fits & (wait > 0), slope, np.inf)[:, :, -NEAR:]
    usual = _median(near.reshape(len(day), -1))[:, None, None]
    # from 0 (the usual rate) to 1; all of them together never outweigh one reading
    unusual = np.abs(slope - usual) / np.maximum(np.abs(slope) + usual, 1e-9)
    gain = np.where(fits, 1.0 - unusual / (count[:, None, None] + 1.0), -np.inf)
    if np.isfinite(reset_cost):
        anew = (rise < 0) & (wait > 0)
        if np.isfinite(fastest):
            anew &= reading[:, :, None] <= fastest * (wait + 1.0)
        gain[anew] = 1.0 - reset_cost
        gain[fits & (slope > LEAP_RATE * usual) & (usual > 0)] = 1.0 - LEAP_COST
    return gain


def _before(values: Array, band: int) -> Array:
    """Of each value the ``band`` before it, ``nan`` where there is none."""
    none = np.full((len(values), band), np.nan)
    padded = np.concatenate([none, values], axis=1)[:, :-1]
    return np.lib.stride_tricks.sliding_window_view(padded, band, axis=1)


def _median(rows: Array) -> Array:
    """Median of each row's finite values, 0 where there are none."""
    ordered = np.sort(rows, axis=1)
    n = np.isfinite(ordered).sum(axis=1)
    each = np.arange(len(rows))
    low = ordered[each, np.maximum(n - 1, 0) // 2]
    high = ordered[each, np.minimum(n // 2, rows.shape[1] - 1)]
    return np.where(n > 0, (low + high) / 2.0, 0.0)
