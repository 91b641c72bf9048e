"""Meter readings of each machine made into one rising path, and the meter on any day."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]
HOURS_PER_DAY = 24.0  # a meter of hours can't run faster
SHORTEST_SPAN_DAYS = 28.0  # below it a unit's own rate is a guess
# a start at 0 must give at most this many times the unit's own later rate; young city buses were
# seen to run up to 4.6 times as much (public odometer logs), a machine bought used shows far more
USED_RATE_RATIO = 6.0
READING_SE = 0.5  # a reading, taken some time on the day of the visit [meter unit]
SOURCES = ("meter", "interpolated", "estimated")  # within a day of a reading; between; beyond
# a meter that starts again at 0 (replaced, or rolled over) is believed where that saves more than
# this many readings from being dropped; our proposal
RESET_COST = 1.5
# a rise this many times the usual rate is half a slip too: a few slips in a row are no new meter
LEAP_RATE, LEAP_COST = 5.0, 0.75
STOPPED_DAYS = 21.0  # readings that stay the same this long: the meter stood, not the machine
STOPPED_RISE = 0.5  # [meter unit]
# a fall is a roll-over where the figures' room above the last reading gives a rate in this range
# of the machine's own
ROLLED_RATE = (1.0 / 3.0, 3.0)
ROLLED_FROM = 0.8  # of that room
RATE_CV = 0.2  # of a machine's own rate from one span to the next; our proposal


@dataclass(frozen=True, slots=True)
class MeterPath:
    """Readings of one machine that can stand together, as the hours it has run in all.

    ``day`` counts from 1970; the path never falls: where the meter was replaced, rolled over or
    stood, it goes on (see `run_in_all`). ``starts_at_zero`` says that the machine entered service
    at 0, on the path's first day. ``ahead`` is the path less what the meter shows, at the end;
    ``guessed`` the variance that guessed stretches have added up to by each day.
    """

    day: Array
    reading: Array
    starts_at_zero: bool
    n_dropped: int
    n_restarts: int
    n_stood: int
    ahead: float
    guessed: Array

    @property
    def rate(self) -> float:
        """Own use from first to last reading [meter unit per day], ``nan`` below 28 days."""
        if len(self.day) < 2 or self.day[-1] - self.day[0] < SHORTEST_SPAN_DAYS:
            return float("nan")
        slope = (self.reading[-1] - self.reading[0]) / (self.day[-1] - self.day[0])
        return float(slope) if slope > 0 else float("nan")

    def at(self, day: Array, rate: float) -> "OnDays":
        """Meter on given days, how far from a reading, and where it comes from.

        Parameters
        ----------
        day : ndarray, shape (n,)
        rate : float
            Use beyond the readings. [meter unit per day]
        """
        n = len(self.day)
        after = np.clip(np.searchsorted(self.day, day, side="left"), 0, n - 1)
        before = np.clip(np.searchsorted(self.day, day, side="right") - 1, 0, n - 1)
        nearest = np.minimum(np.abs(day - self.day[before]), np.abs(self.day[after] - day))
        beyond = np.minimum(day - self.day[0], 0.0) + np.maximum(day - self.day[-1], 0.0)
        read = np.interp(day, self.day, self.reading)
        read = np.where(beyond == 0, read, read + rate * beyond)
        gap = np.where(after > before, self.day[after] - self.day[before], 1.0)
        slope = np.where(after > before, (self.reading[after] - self.reading[before]) / gap, 0.0)
        return OnDays(
            reading=read,
            beyond_days=beyond,
            between_error=np.where(beyond == 0, RATE_CV * slope * nearest, 0.0),
            guessed=np.interp(day, self.day, self.guessed),
            source=np.where(nearest <= 1.0, 0, np.where(beyond == 0, 1, 2)),
        )


@dataclass(frozen=True, slots=True)
class OnDays:
    """Meter of one machine on several days, each of shape (n,).

    ``beyond_days`` is negative before the first reading; ``between_error`` is the standard error
    from lying between two readings [meter unit]; ``guessed`` the variance of guessed stretches up
    to that day; ``source`` indexes `SOURCES`.
    """

    reading: Array
    beyond_days: Array
    between_error: Array
    guessed: Array
    source: NDArray[np.int64]


def meter_paths(
    service_lines: pd.DataFrame,
    in_service_on: pd.Series,
    meter_unit: str,
    *,
    from_new: bool = False,
) -> dict[str, MeterPath]:
    """Path of each machine that has a reading.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    in_service_on : Series of dates, by unit_id
        Known days of entering service; the path starts there at 0 where the first reading then
        gives a plausible rate: above 0, at most 24 h a day, and at most `USED_RATE_RATIO` times
        the unit's own later rate where that is known.
    meter_unit : str
        Only a meter of hours has a limit of 24 a day.
    from_new : bool
        The meters are known to count from new (``[lives] first_part = "original"``): a first
        stretch faster than the later one is then no sign of a used machine.
    """
    lines = service_lines[["unit_id", "service_date", "meter_hours"]].dropna()
    lines = lines.astype({"unit_id": "object"}).drop_duplicates()
    lines = lines.sort_values(["unit_id", "service_date", "meter_hours"], kind="stable")
    fastest = HOURS_PER_DAY if meter_unit == "hours" else np.inf
    days, readings = days_of(lines["service_date"]), lines["meter_hours"].to_numpy(float)
    began = dict(zip(in_service_on.index.astype(str), days_of(in_service_on), strict=True))
    out = {}
    at = pd.Series(np.arange(len(lines))).groupby(lines["unit_id"].astype(str).to_numpy())
    for unit, rows in at:
        day, reading = days[rows.to_numpy()], readings[rows.to_numpy()]
        kept = longest_path(day, reading, fastest, reset_cost=RESET_COST)
        bare = run_in_all(day[kept], reading[kept], fastest, int((~kept).sum()))
        start = began.get(str(unit), np.nan)
        out[str(unit)] = _anchored(bare, start, fastest, from_new=from_new)
    return out


def days_of(dates: pd.Series) -> Array:
    """Dates as days since 1970, ``nan`` where missing."""
    days = (dates - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1)
    return np.asarray(days, dtype=np.float64)


def longest_path(
    day: Array, reading: Array, fastest: float, *, reset_cost: float = np.inf
) -> NDArray[np.bool_]:
    """Which readings stand on the longest path that never falls and never outruns the clock.

    Parameters
    ----------
    day, reading : ndarray, shape (n,)
        In order of day, then reading.
    fastest : float
        Largest rise a day; a day is granted for the unknown time of day of both readings.
    reset_cost : float
        A path may start again from 0 after any reading, at the price of this many readings; what
        the meter shows then is at most what the clock allows since.

    Returns
    -------
    ndarray of bool, shape (n,)
        Of paths of equal length, the one whose rises keep closest to the usual rate (the median
        over all pairs of readings that can stand together).
    """
    n = len(day)
    kept = np.zeros(n, dtype=bool)
    if n == 0:
        return kept
    wait = day[None, :] - day[:, None]
    rise = reading[None, :] - reading[:, None]
    fits = (rise >= 0) & np.triu(np.ones((n, n), dtype=bool), 1)
    if np.isfinite(fastest):
        fits &= rise <= fastest * (wait + 1.0)
    slope = rise / np.maximum(wait, 1.0)
    usual = float(np.median(slope[fits & (wait > 0)])) if (fits & (wait > 0)).any() else 0.0
    # from 0 (the usual rate) to 1; all of them together never outweigh one reading
    unusual = np.abs(slope - usual) / np.maximum(np.abs(slope) + usual, 1e-9)
    gain = np.where(fits, 1.0 - unusual / (n + 1.0), -np.inf)
    if np.isfinite(reset_cost):
        anew = (rise < 0) & (wait > 0) & np.triu(np.ones((n, n), dtype=bool), 1)
        if np.isfinite(fastest):
            anew &= reading[None, :] <= fastest * (wait + 1.0)
        gain = np.where(anew, 1.0 - reset_cost, gain)
        gain = np.where(fits & (slope > LEAP_RATE * usual) & (usual > 0), 1.0 - LEAP_COST, gain)
    score, previous = np.ones(n), np.full(n, -1)
    for j in range(1, n):
        candidates = score[:j] + gain[:j, j]
        best = int(np.argmax(candidates))
        if candidates[best] > score[j]:
            score[j], previous[j] = candidates[best], best
    at = n - 1 - int(np.argmax(score[::-1]))  # the latest of equals
    while at >= 0:
        kept[at] = True
        at = int(previous[at])
    return kept


def run_in_all(day: Array, reading: Array, fastest: float, n_dropped: int) -> MeterPath:
    """Path of the hours run in all, through falls and stretches in which the meter stood.

    Parameters
    ----------
    day, reading : ndarray, shape (n,)
        Readings that are kept; a fall among them is a meter that started again.
    fastest : float
        Largest rise a day.

    Notes
    -----
    The own rate is that of all other stretches. A fall from near the top of the meter's figures
    (9 8xx to 0 1xx) whose rest gives about that rate is a roll-over, and known. At any other fall
    the meter was replaced, and where a meter of hours reads the same for 21 days it stood: there
    the machine ran at its own rate, though at least as far as the new meter shows, give or take
    a fifth.
    """
    wait, rise = np.diff(day), np.diff(reading)
    fell = rise < 0
    # a vehicle whose odometer stays the same stood itself (public logs of city buses)
    still = _standing(wait, rise) if np.isfinite(fastest) else np.zeros(len(rise), dtype=bool)
    good = ~fell & ~still
    lived = float(wait[good].sum())
    usual = float(rise[good].sum()) / lived if lived >= SHORTEST_SPAN_DAYS else 0.0
    room = 10.0 ** np.ceil(np.log10(np.maximum(reading[:-1], 1.0) + 1.0))
    over = room - reading[:-1] + reading[1:]
    pace = over / np.maximum(wait, 1.0)
    low, high = ROLLED_RATE
    rolled = fell & (reading[:-1] >= ROLLED_FROM * room)
    rolled &= (pace >= low * usual) & (pace <= high * usual)
    guess = (fell & ~rolled) | (still & (usual > 0))
    ran = np.minimum(np.maximum(usual * wait, np.where(fell, reading[1:], 0.0)), fastest * wait)
    steps = np.select([rolled, guess], [over, ran], rise)
    path = reading[0] + np.concatenate([[0.0], np.cumsum(steps)])
    error = np.where(guess, RATE_CV * usual * wait, 0.0)
    return MeterPath(
        day=day,
        reading=path,
        starts_at_zero=False,
        n_dropped=n_dropped,
        n_restarts=int(fell.sum()),
        n_stood=int((guess & still).sum()),
        ahead=float(path[-1] - reading[-1]),
        guessed=np.concatenate([[0.0], np.cumsum(error**2)]),
    )


def _standing(wait: Array, rise: Array) -> NDArray[np.bool_]:
    """Stretches in a row, 21 days or more together, in which the readings stay the same."""
    flat = np.abs(rise) <= STOPPED_RISE
    if not flat.any():
        return flat
    run = np.concatenate([[0], np.cumsum(flat[1:] != flat[:-1])])
    together = pd.Series(wait).groupby(run).transform("sum").to_numpy()
    found: NDArray[np.bool_] = flat & (together >= STOPPED_DAYS)
    return found


def _anchored(
    bare: MeterPath,
    began: float,
    fastest: float,
    *,
    from_new: bool = False,
) -> MeterPath:
    """Path with the point (entered service, 0) put before it where that is plausible.

    A reading on the day of entering service stays as it is: the machine ran that far that day.
    """
    day, reading = bare.day, bare.reading
    waited = day[0] - began
    if not np.isfinite(began) or waited < 0 or reading[0] > fastest * (waited + 1.0):
        return bare
    own = bare.rate
    too_far = reading[0] > USED_RATE_RATIO * own * max(waited, 1.0)
    if np.isfinite(own) and too_far and not from_new:
        return bare
    if waited == 0:
        return replace(bare, starts_at_zero=True)
    return replace(
        bare,
        day=np.append(began, day),
        reading=np.append(0.0, reading),
        guessed=np.append(0.0, bare.guessed),
        starts_at_zero=True,
    )
