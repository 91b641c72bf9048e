"""The weeks of the horizon: their working days, the month each belongs to, the shop's hours."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.settings import Settings

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
WORKDAYS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weeks:
    """Weeks from the day after ``as_of`` to the end of the horizon.

    Parameters
    ----------
    as_of : Timestamp
    days : list of ndarray
        Working days of each week, counted from ``as_of``. [days]
    iso : ndarray, shape (n_weeks,)
        Number of each week in its year (ISO 8601).
    month : ndarray, shape (n_weeks,)
        Month after ``as_of`` that each week begins in, from 0 on.
    hours : ndarray, shape (n_weeks,), or None
        The workshop's hours in each week; None where they are not limited.
    """

    as_of: pd.Timestamp
    days: list[Ints]
    iso: Ints
    month: Ints
    hours: Floats | None

    @property
    def n_months(self) -> int:
        """Months that have a week."""
        return int(self.month.max()) + 1 if len(self.days) else 0

    @property
    def n_days(self) -> int:
        """Last working day."""
        return int(self.days[-1][-1]) if len(self.days) else 0

    def of_month(self, month: int) -> Ints:
        """Weeks of a month."""
        return np.flatnonzero(self.month == month)

    def date(self, day: int) -> pd.Timestamp:
        """Date of a day."""
        return self.as_of + pd.Timedelta(days=int(day))

    def open_to(self, blackout_weeks: list[int]) -> Flags:
        """Weeks in which a customer can do without his machines."""
        return ~np.isin(self.iso, blackout_weeks)


def weeks_ahead(as_of: pd.Timestamp, settings: Settings) -> Weeks:
    """Weeks of the report's horizon."""
    months = settings.report.horizon_months
    ends = [as_of + pd.DateOffset(months=m) for m in range(1, months + 1)]
    dates = pd.date_range(as_of + pd.Timedelta(days=1), ends[-1])
    dates = dates[dates.day_of_week < WORKDAYS]
    ahead = (dates - as_of).days.to_numpy()
    year_week = dates.isocalendar()
    key = (year_week["year"].astype(int) * 100 + year_week["week"].astype(int)).to_numpy()
    starts = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    days = np.split(ahead, starts[1:])
    limits = np.array([(e - as_of).days for e in ends])
    per_week = settings.workshop.hours_per_week
    share = np.array([len(d) for d in days]) / WORKDAYS
    return Weeks(
        as_of=as_of,
        days=days,
        iso=(key[starts] % 100).astype(np.int64),
        month=np.searchsorted(limits, [d[0] for d in days]).astype(np.int64),
        hours=None if per_week is None else per_week * share,
    )
