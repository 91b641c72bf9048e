"""How far use strays: within a machine from day to day and year to year, told by the readings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.clocks.standing import Array

Codes = NDArray[np.int64]
# what is taken for so many stretches (machines) beside those of the data; our proposal: a fifth
# of the use over a month, and 15 % from one year to the next
PRIOR_DAYS, PRIOR_DRIFT = 1.2, 0.15
PRIOR_STRETCHES, PRIOR_MACHINES = 20.0, 5.0
LEAST_DRIFT = 0.05
SHORTEST_DAYS = 7.0  # a shorter stretch tells of hours of the day, not of use
# squares of a standard normal number: their median and 90 % quantile
_MEDIAN, _NINETY = 0.4549, 2.7055


@dataclass(frozen=True, slots=True)
class Spread:
    """Spread of a machine's use about its own mean rate.

    The hours of T days have variance rate^2 (``days`` T + ``drift``^2 T^2): chance from day to day
    adds up as a random walk, a change of the rate goes on. ``days`` [d], ``drift`` [1].
    """

    days: float
    drift: float


def spread_of(machine: Codes, days: Array, hours: Array, n_machines: int) -> Spread:
    """Spread of use, from the stretches between readings of all machines.

    Parameters
    ----------
    machine : ndarray of int, shape (n,)
    days, hours : ndarray, shape (n,)
        Days of use and hours of each stretch, in order of machine and day.
    n_machines : int

    Notes
    -----
    ``days``: of the squares (hours - rate days)^2 / (rate^2 days), the larger of those that the
    median and the 90 % quantile of a normal law tell, so that bounds at 90 % hold whatever the
    tails. ``drift``: half of what the log ratio of the rates of each machine's first and second
    half varies beyond that. Both are drawn towards `PRIOR_DAYS` and `PRIOR_DRIFT`.
    """
    many = np.bincount(machine, minlength=n_machines)
    lived = np.bincount(machine, days, minlength=n_machines)
    ran = np.bincount(machine, hours, minlength=n_machines)
    rate = ran / np.maximum(lived, 1e-9)
    told = (days >= SHORTEST_DAYS) & (many >= 3)[machine] & (rate > 0)[machine]
    told &= days < 0.7 * lived[machine]
    of = machine[told]
    square = (hours[told] - rate[of] * days[told]) ** 2 / (rate[of] ** 2 * days[told])
    square /= 1.0 - days[told] / lived[of]
    own = PRIOR_DAYS
    if len(square):
        own = max(np.median(square) / _MEDIAN, float(np.quantile(square, 0.9)) / _NINETY)
    n = len(square)
    daily = (PRIOR_STRETCHES * PRIOR_DAYS + n * own) / (PRIOR_STRETCHES + n)
    return Spread(float(daily), _drift(machine, days, hours, many, lived, float(daily)))


def _drift(
    machine: Codes, days: Array, hours: Array, many: Codes, lived: Array, daily: float
) -> float:
    """Spread of a machine's rate from one half of its record to the other."""
    first_row = np.concatenate([[0], np.cumsum(many)])[:-1]
    by_then = np.cumsum(days)
    before = np.append(0.0, by_then)[first_row][machine]
    early = by_then - before <= lived[machine] / 2.0
    ran, span = (
        [np.bincount(machine, np.where(half, what, 0.0), minlength=len(many))
         for half in (early, ~early)]
        for what in (hours, days)
    )  # fmt: skip
    known = (many >= 4) & (np.minimum(*ran) > 0) & (np.minimum(*span) >= 60.0)
    n = int(known.sum())
    found = PRIOR_DRIFT**2
    if n:
        a, b = (s[known] for s in span)
        ratio = np.log(ran[0][known] / a) - np.log(ran[1][known] / b)
        extra = ratio**2 - daily * (1.0 / a + 1.0 / b)
        # the largest few are moves to other work or faults of the meter
        found = max(float(np.minimum(extra, np.quantile(extra, 0.9)).mean()) / 2.0, 0.0)
    square = (PRIOR_MACHINES * PRIOR_DRIFT**2 + n * found) / (PRIOR_MACHINES + n)
    return max(float(np.sqrt(square)), LEAST_DRIFT)
