"""How use goes up and down over the year in each duty, where the readings show that it does."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.clocks.order import Words, codes_of
from dutylife.lives.clocks.standing import Array, Flags

Codes = NDArray[np.int64]
MONTHS = 12
_FIRST, _CYCLE = -365, 1461  # 1 January 1969, and the days of four years
# all our proposal
LONGEST_DAYS = 100.0  # a longer stretch says little of the months it spans
FEWEST_STRETCHES = 36  # of a duty, three for each month
CLEARLY = 0.25  # less squared error in years that the shares were not fitted on
LEAST_SHARE = 0.02  # of the mean month: no month stands quite still
ROUNDS = 60  # of the fit, each a small step; the last ones move the shares by less than 1 %
PRIOR_MONTHS = 2.0  # mean months of use put to each month beside the data


@dataclass(frozen=True, slots=True)
class Season:
    """Days of use: calendar days, each weighted by its month's share in a duty.

    Parameters
    ----------
    duties : ndarray of str, shape (duties,)
        Sorted.
    shares : ndarray, shape (duties, 12)
        Use in each month as a share of the mean month; 1 throughout where no season shows.
    """

    duties: Words
    shares: Array

    @property
    def table(self) -> pd.DataFrame:
        """Columns of table "use_seasons": duty, month_of_year, use_share; duties with a season."""
        own = np.flatnonzero((self.shares != 1.0).any(axis=1))
        return pd.DataFrame(
            {
                "duty": np.repeat(np.asarray(self.duties, dtype=object)[own], MONTHS),
                "month_of_year": np.tile(np.arange(1, MONTHS + 1), len(own)),
                "use_share": self.shares[own].ravel(),
            }
        )

    @classmethod
    def of_table(cls, table: pd.DataFrame) -> "Season":
        """Season of table "use_seasons"."""
        rows = table.astype({"duty": "object"})
        wide = rows.pivot_table(index="duty", columns="month_of_year", values="use_share")
        wide = wide.reindex(columns=range(1, MONTHS + 1)).fillna(1.0).sort_index()
        return cls(wide.index.to_numpy(dtype=object), wide.to_numpy(dtype=np.float64))

    def of(self, duty: pd.Series) -> Codes:
        """Row of each duty; -1 where it is not among them, or missing."""
        codes, words = codes_of(duty)
        place: Codes = pd.Index(self.duties).get_indexer(pd.Index(words))
        return np.append(place, -1)[codes]

    def days_of_use(self, duty: Codes, day: Array) -> Array:
        """Weighted days since 1970, as many a year as the calendar has.

        Parameters
        ----------
        duty : ndarray of int, shape (n,)
            Rows of ``shares``; -1 for none.
        day : ndarray, shape (n,)
            Days since 1970, ``nan`` where missing.
        """
        out = np.array(day, dtype=np.float64)
        if (self.shares == 1.0).all():
            return out
        some = np.flatnonzero((duty >= 0) & np.isfinite(day))
        some = some[(self.shares != 1.0).any(axis=1)[duty[some]]]
        if not len(some):
            return out
        # four years from 1 January 1969 on, over and over
        table = np.zeros((len(self.shares), _CYCLE + 1))
        table[:, 1:] = np.cumsum(
            self.shares[:, _month(np.arange(_CYCLE, dtype=np.float64) + _FIRST)], axis=1
        )
        since = day[some] - _FIRST
        cycle = np.floor(since / _CYCLE)
        within = since - cycle * _CYCLE
        whole = np.minimum(np.floor(within), _CYCLE - 1).astype(np.int64)
        low, high = table[duty[some], whole], table[duty[some], whole + 1]
        out[some] = _FIRST + cycle * table[duty[some], -1] + low + (within - whole) * (high - low)
        return out


def fit_season(
    machine: Codes, duty: Codes, begin: Array, end: Array, rise: Array, duties: Words
) -> Season:
    """Monthly shares of each duty in which they come back from year to year.

    Parameters
    ----------
    machine, duty : ndarray of int, shape (n,)
        Of each stretch between two readings.
    begin, end, rise : ndarray, shape (n,)
        Its first and last day, and the hours run in it.
    duties : ndarray of str
        Names of the duties that ``duty`` numbers.

    Notes
    -----
    Hours of a stretch are its machine's rate times the sum of the shares of its days. Shares and
    rates are fitted in turn, each by its own ratio of hours seen to hours expected (the
    Richardson-Lucy steps, which are EM for Poisson counts), with `PRIOR_MONTHS` months of mean
    use beside the data of each month. They are taken only where shares fitted on every other
    year lower the squared error of the stretches of the years between, both ways together, by
    `CLEARLY`: what comes once to all machines (a strike, a hard winter) is no season.
    """
    shares = np.ones((len(duties), MONTHS))
    good = (end - begin <= LONGEST_DAYS) & (end > begin) & (rise >= 0) & (duty >= 0)
    for number in np.unique(duty[good]):
        rows = np.flatnonzero(good & (duty == number))
        if len(rows) < FEWEST_STRETCHES:
            continue
        unit = np.unique(machine[rows], return_inverse=True)[1]
        days = _days_in_months(begin[rows], end[rows])
        hours = rise[rows]
        half = _year((begin[rows] + end[rows]) / 2.0) % 2 == 0
        if half.all() or not half.any():
            continue
        flat = _error(np.ones(MONTHS), unit, days, hours)
        told = np.where(
            half,
            _error(_shares(unit, days, hours, ~half), unit, days, hours),
            _error(_shares(unit, days, hours, half), unit, days, hours),
        )
        if told.sum() <= (1.0 - CLEARLY) * flat.sum():
            shares[number] = _shares(unit, days, hours, np.ones_like(half))
    return Season(duties, shares)


def _shares(unit: Codes, days: Array, hours: Array, rows: Flags) -> Array:
    """Shares of the months from some of the stretches."""
    unit, days, hours = np.unique(unit[rows], return_inverse=True)[1], days[rows], hours[rows]
    share = np.ones(MONTHS)
    prior = PRIOR_MONTHS * 30.0 * hours.sum() / max(days.sum(), 1.0)
    for _ in range(ROUNDS):
        expected = days @ share
        rate = (np.bincount(unit, hours) / np.maximum(np.bincount(unit, expected), 1e-9))[unit]
        seen = share * (days.T @ (rate * hours / np.maximum(rate * expected, 1e-9)))
        share = (seen + prior) / (days.T @ rate + prior)
        share = np.maximum(share / share.mean(), LEAST_SHARE)
    # a year of weighted days is as long as one of the calendar
    length = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    scaled: Array = share * (length.sum() / float(share @ length))
    return scaled


def _error(share: Array, unit: Codes, days: Array, hours: Array) -> Array:
    """Squared error of each stretch, in units of what its machine runs in a day."""
    expected = days @ share
    rate = (np.bincount(unit, hours) / np.maximum(np.bincount(unit, expected), 1e-9))[unit]
    off = (hours - rate * expected) / np.maximum(rate, 1e-9)
    # a slip or a stand in one stretch must not decide
    size: Array = np.minimum(off**2, LONGEST_DAYS**2) / days.sum(axis=1)
    return np.where(rate > 0, size, 0.0)


def _days_in_months(begin: Array, end: Array) -> Array:
    """Days of each stretch in each month of the year, shape (n, 12)."""
    first = float(np.floor(begin.min()))
    days = np.arange(first, float(np.ceil(end.max())) + 1.0)
    table = np.zeros((len(days) + 1, MONTHS))
    table[np.arange(1, len(days) + 1), _month(days)] = 1.0
    table = np.cumsum(table, axis=0)
    a, b = (begin - first).astype(np.int64), (end - first).astype(np.int64)
    found: Array = table[b] - table[a]
    return found


def _year(day: Array) -> Codes:
    """Calendar year of days since 1970, counted from 1970."""
    dates = day.astype(np.int64).astype("datetime64[D]")
    return dates.astype("datetime64[Y]").astype(np.int64)


def _month(day: Array) -> Codes:
    """Month of days since 1970, 0 to 11."""
    dates = day.astype(np.int64).astype("datetime64[D]")
    months: Codes = dates.astype("datetime64[M]").astype(np.int64) % MONTHS
    return months
