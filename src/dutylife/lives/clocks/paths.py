"""Hours run of every machine on any day: all readings in one row, found by one search."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.clocks.order import Words, codes_of
from dutylife.lives.clocks.quantity import OddMeter
from dutylife.lives.clocks.season import Season
from dutylife.lives.clocks.standing import Array, Flags

Codes = NDArray[np.int64]
# a stand that takes less of a stretch than this is not told from a slow month; our proposal
MISSED_DAYS = 30.0
_BY_ROW = ("day", "reading", "guessed", "bridged")
_BY_MACHINE = (
    "names", "starts_at_zero", "ahead", "n_dropped", "n_restarts", "n_stood", "duty",
)  # fmt: skip
_BLOCK = 16_384  # days asked for together: what is worked out on the way stays in the cache


@dataclass(frozen=True, slots=True)
class OnDays:
    """Meters of machines on days, each of shape (n,).

    ``beyond_days`` counts days of use, negative before the first reading; ``between`` is the
    variance from lying between two readings, as a multiple of the variance of a day's use
    [meter unit squared]; ``guessed`` the variance and ``bridged`` the hours of guessed stretches
    up to that day; ``source`` is 0 within a day of a reading, 1 between two, 2 beyond them.
    """

    reading: Array
    beyond_days: Array
    between: Array
    guessed: Array
    bridged: Array
    source: Codes


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetMeters:
    """What some machines need to know of the meters of the others; see `MeterPaths`."""

    has_readings: bool
    missed_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterPaths:
    """Readings of each machine that can stand together, as the hours it has run in all.

    Parameters
    ----------
    names : ndarray of str, shape (k,)
        Machines with a reading, sorted; what is said by machine is in this order.
    start : ndarray of int, shape (k + 1,)
        First row of each machine, and the number of rows.
    day, reading, guessed, bridged : ndarray, shape (n,)
        In order of machine and day. ``day`` counts from 1970; ``reading`` never falls within a
        machine: where the meter was replaced, rolled over or stood, it goes on (see
        `running.run_in_all`). ``guessed`` is the variance and ``bridged`` the hours that guessed
        stretches have added up to by each day.
    starts_at_zero : ndarray of bool, shape (k,)
        The machine entered service at 0, on its path's first day.
    ahead : ndarray, shape (k,)
        The path less what the meter shows, at the end.
    n_dropped, n_restarts, n_stood : ndarray of int, shape (k,)
        Readings left out; falls; stretches in which the meter stood.
    season : Season
    duty : ndarray of int, shape (k,)
        Row of the season's shares; -1 for none.
    fastest : float
        Largest rise a day: 24 for a meter of hours, else infinite. [meter unit per day]
    odd : tuple of OddMeter
        Machines left out because their meter counts something else.
    fleet : FleetMeters, optional
        Of the whole fleet, where these are some of its machines.
    """

    names: Words
    start: Codes
    day: Array
    reading: Array
    guessed: Array
    bridged: Array
    starts_at_zero: Flags
    ahead: Array
    n_dropped: Codes
    n_restarts: Codes
    n_stood: Codes
    season: Season
    duty: Codes
    fastest: float
    odd: tuple[OddMeter, ...]
    fleet: FleetMeters | None = None
    _use: Array = field(init=False, repr=False)
    _gap: Array = field(init=False, repr=False)
    _is_bridged: bool = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Work out the days of use of each reading, and to the machine's next one."""
        use = self.season.days_of_use(self.duty[self.machine], self.day)
        gap = np.append(np.diff(use), np.nan)
        gap[self.start[1:] - 1] = np.nan  # none behind the last reading
        object.__setattr__(self, "_use", use)
        object.__setattr__(self, "_gap", gap)
        object.__setattr__(self, "_is_bridged", bool(self.bridged.any()))

    def __len__(self) -> int:
        """Machines with a reading."""
        return len(self.names)

    @property
    def has_readings(self) -> bool:
        """Whether any machine of the fleet has a reading."""
        return self.fleet.has_readings if self.fleet else len(self) > 0

    @property
    def machine(self) -> Codes:
        """Place in ``names`` of each row."""
        return np.repeat(np.arange(len(self)), np.diff(self.start))

    def stretches(self) -> tuple[Codes, Array, Array]:
        """From each reading to the next of its machine, where the hours between are not guessed.

        Returns
        -------
        machine : ndarray of int
        days : ndarray
            Days of use, above 0.
        hours : ndarray
        """
        rows = np.flatnonzero(self._gap[:-1] > 0) if len(self._gap) else np.zeros(0, np.int64)
        rows = rows[self.bridged[rows + 1] == self.bridged[rows]]
        hours = self.reading[rows + 1] - self.reading[rows]
        return self.machine[rows], self._gap[rows], hours

    @property
    def missed_days(self) -> float:
        """Variance, for each day of use, that stands too short to be seen put into the hours.

        As many stands as were seen, by days of use of all machines, each of `MISSED_DAYS`; 0 in a
        fleet whose meters were never seen to stop. [d]
        """
        if self.fleet is not None:
            return self.fleet.missed_days
        lived = float(np.nansum(self._gap))
        seen = float(self.n_stood.sum())
        return seen / lived * MISSED_DAYS**2 if lived > 0 else 0.0

    def of(self, unit_id: pd.Series) -> Codes:
        """Place of machines in ``names``; -1 where a machine has no reading."""
        codes, words = codes_of(unit_id)
        place: Codes = pd.Index(self.names).get_indexer(pd.Index(words))
        return np.append(place, -1)[codes]

    def within(self, first: str, last: str) -> "MeterPaths":
        """Paths of the machines whose names lie between two, both included."""
        low = int(np.searchsorted(self.names, first, side="left"))
        high = int(np.searchsorted(self.names, last, side="right"))
        rows, machines = slice(self.start[low], self.start[high]), slice(low, high)
        by_row = {name: getattr(self, name)[rows] for name in _BY_ROW}
        by_machine = {name: getattr(self, name)[machines] for name in _BY_MACHINE}
        return MeterPaths(
            **by_row, **by_machine, start=self.start[low : high + 1] - self.start[low],
            season=self.season, fastest=self.fastest, odd=(),
            fleet=FleetMeters(has_readings=self.has_readings, missed_days=self.missed_days),
        )  # fmt: skip

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
            Use beyond the readings. [meter unit per day of use]
        """
        n = len(day)
        out = OnDays(
            reading=np.zeros(n),
            beyond_days=np.zeros(n),
            between=np.zeros(n),
            guessed=np.zeros(n),
            bridged=np.zeros(n),
            source=np.zeros(n, dtype=np.int64),
        )
        if not len(self.day):
            return out
        origin = float(self.day.min())
        span = float(self.day.max()) - origin + 3.0
        keys = self.machine * span + (self.day - origin + 1.0)
        for first in range(0, n, _BLOCK):
            rows = slice(first, first + _BLOCK)
            of = machine[rows]
            asked = of * span + np.clip(day[rows] - origin + 1.0, 0.0, span - 1.0)
            # rows of one machine stand together, mostly: a block asks few of all machines
            low, high = self.start[of.min()], self.start[of.max() + 1]
            before = low + np.searchsorted(keys[low:high], asked, side="right") - 1
            self._fill(out, rows, np.maximum(before, self.start[of]), of, day[rows], rate[rows])
        return out

    def _fill(
        self, out: OnDays, rows: slice, before: Codes, machine: Codes, day: Array, rate: Array
    ) -> None:
        """Put what is asked of some rows into ``out``; ``before`` is the reading to start from."""
        use = self.season.days_of_use(self.duty[machine], day)
        since, gap = use - self._use[before], self._gap[before]
        days_since = day - self.day[before]
        after = np.minimum(before + 1, len(self.day) - 1)
        apart = (since > 0) & (gap > 0)  # between two readings
        share = np.where(apart, since / np.where(apart, gap, 1.0), 0.0)
        rise = self.reading[after] - self.reading[before]
        slope = np.where(apart, rise / np.where(apart, gap, 1.0), rate)
        out.reading[rows] = self.reading[before] + np.where(since == 0, 0.0, slope * since)
        out.beyond_days[rows] = np.where(apart, 0.0, since)
        out.between[rows] = np.where(apart, slope**2 * share * (gap - since), 0.0)
        for whole, part in ((self.guessed, out.guessed), (self.bridged, out.bridged)):
            if not self._is_bridged:
                break
            part[rows] = whole[before] + share * (whole[after] - whole[before])
        nearest = np.abs(days_since)
        nearest = np.where(apart, np.minimum(nearest, np.abs(self.day[after] - day)), nearest)
        out.source[rows] = np.where(nearest <= 1.0, 0, np.where(apart, 1, 2))
