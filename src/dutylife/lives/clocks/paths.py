"""Hours run of every machine on any day: all readings in one row, found by one search."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.clocks.order import Words, codes_of
from dutylife.lives.clocks.running import RATE_CV, SHORTEST_SPAN_DAYS
from dutylife.lives.clocks.standing import Array, Flags

Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class OnDays:
    """Meters of machines on days, each of shape (n,).

    ``beyond_days`` is negative before the first reading; ``between_error`` is the standard error
    from lying between two readings [meter unit]; ``guessed`` the variance of guessed stretches up
    to that day; ``source`` indexes `SOURCES`.
    """

    reading: Array
    beyond_days: Array
    between_error: Array
    guessed: Array
    source: Codes


@dataclass(frozen=True, slots=True)
class MeterPaths:
    """Readings of each machine that can stand together, as the hours it has run in all.

    Parameters
    ----------
    names : ndarray of str, shape (k,)
        Machines with a reading, sorted; what is said by machine is in this order.
    start : ndarray of int, shape (k + 1,)
        First row of each machine, and the number of rows.
    day, reading, guessed : ndarray, shape (n,)
        In order of machine and day. ``day`` counts from 1970; ``reading`` never falls within a
        machine: where the meter was replaced, rolled over or stood, it goes on (see
        `running.run_in_all`). ``guessed`` is the variance that guessed stretches have added up
        to by each day.
    starts_at_zero : ndarray of bool, shape (k,)
        The machine entered service at 0, on its path's first day.
    ahead : ndarray, shape (k,)
        The path less what the meter shows, at the end.
    n_dropped, n_restarts, n_stood : ndarray of int, shape (k,)
        Readings left out; falls; stretches in which the meter stood.
    """

    names: Words
    start: Codes
    day: Array
    reading: Array
    guessed: Array
    starts_at_zero: Flags
    ahead: Array
    n_dropped: Codes
    n_restarts: Codes
    n_stood: Codes

    def __len__(self) -> int:
        """Machines with a reading."""
        return len(self.names)

    @property
    def rate(self) -> Array:
        """Own use of each machine from first to last reading, ``nan`` below 28 days.

        Shape (k,). [meter unit per day]
        """
        first, last = self.start[:-1], self.start[1:] - 1
        span = self.day[last] - self.day[first]
        rise = self.reading[last] - self.reading[first]
        known = (span >= SHORTEST_SPAN_DAYS) & (rise > 0)
        return np.where(known, rise / np.maximum(span, 1.0), np.nan)

    def of(self, unit_id: pd.Series) -> Codes:
        """Place of machines in ``names``; -1 where a machine has no reading."""
        codes, words = codes_of(unit_id)
        place: Codes = pd.Index(self.names).get_indexer(pd.Index(words))
        return np.append(place, -1)[codes]

    def told(self, counts: Codes) -> dict[str, int]:
        """Machines that have any of what was counted by machine, by name."""
        some = np.flatnonzero(counts)
        return dict(zip(self.names[some].tolist(), counts[some].tolist(), strict=True))

    def at(self, machine: Codes, day: Array, rate: Array) -> OnDays:
        """Meters on given days, how far from a reading, and where they come from.

        Parameters
        ----------
        machine : ndarray of int, shape (n,)
            Places in ``names``. Rows of one machine together are found faster.
        day : ndarray, shape (n,)
        rate : ndarray, shape (n,)
            Use beyond the readings. [meter unit per day]
        """
        first, last = self.start[machine], self.start[machine + 1] - 1
        before = np.clip(self._last_until(machine, day), first, last)
        known = self.day[before]
        after = np.where(known < day, np.minimum(before + 1, last), before)
        nearest = np.minimum(np.abs(day - known), np.abs(self.day[after] - day))
        beyond = np.where((day < known) | (after == before), day - known, 0.0)
        apart = after > before
        gap = np.where(apart, self.day[after] - known, 1.0)
        slope = np.where(apart, (self.reading[after] - self.reading[before]) / gap, 0.0)
        growth = np.where(apart, (self.guessed[after] - self.guessed[before]) / gap, 0.0)
        ran = np.where(apart, slope * (day - known), np.where(beyond == 0, 0.0, rate * beyond))
        return OnDays(
            reading=self.reading[before] + ran,
            beyond_days=beyond,
            between_error=np.where(beyond == 0, RATE_CV * slope * nearest, 0.0),
            guessed=self.guessed[before] + np.where(apart, growth * (day - known), 0.0),
            source=np.where(nearest <= 1.0, 0, np.where(beyond == 0, 1, 2)),
        )

    def _last_until(self, machine: Codes, day: Array) -> Codes:
        """Row of the last reading not after each day, by one search over all machines."""
        if not len(day):
            return np.zeros(0, dtype=np.int64)
        origin = float(self.day.min())
        span = float(self.day.max()) - origin + 3.0
        owner = np.repeat(np.arange(len(self)), np.diff(self.start))
        keys = owner * span + (self.day - origin + 1.0)
        asked = machine * span + np.clip(day - origin + 1.0, 0.0, span - 1.0)
        return np.searchsorted(keys, asked, side="right") - 1
