"""What it costs to do a task of a machine so many days from now, or after it was done last."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.age_weibull import lived_age, weibull_mean
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
N_AGES = 241
SMALLEST = 1e-4  # first age of the grid, as a share of its last
LONGEST = 6.0  # last age of the grid, as a multiple of the mean life
LEAST_ALIVE = 1e-6  # an age hardly any part reaches tells nothing; the last one that tells is used
# a third of an interval late costs as much as a failure, where no law tells: our proposal
LATE_FAILURES = 3.0
# what is overdue and can hurt comes before all else: failures that each month late counts for
HURT_FAILURES = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worth:
    """Costs of one task by day, without the visit's own; relative to the best long-run course.

    Parameters
    ----------
    first, again : ndarray, shape (n_days,)
        Done so many days from now, and so many days after it was done: the cost up to and with
        it, less the long-run cost of that time; ``inf`` where it may not be so late. [currency]
    end_first, end_again : ndarray, shape (n_days,)
        Not done within so many days. [currency]
    """

    first: Array
    again: Array
    end_first: Array
    end_again: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawCurve:
    """Law and costs of one part, averaged over the draws, on a grid of ages of its own clock.

    ``alive`` and ``cost`` are sums over draws of survival and of long-run cost rate x age lived,
    each draw weighted by its renewals per unit of time, so that the mean of the cost rates over
    draws is least at ``best_age``.
    """

    ages: Array
    alive: Array
    cost: Array
    own: float
    share: float
    failure: float
    best_age: float
    rate: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawGrid:
    """Draws of a law on a grid of ages: ``alive`` and ``lived`` have shape (n_draws, n_ages)."""

    ages: Array
    alive: Array
    lived: Array
    weights: Array


def law_grid(shape: Array, scale: Array, weights: Array) -> LawGrid:
    """Survival and age lived of each draw.

    Parameters
    ----------
    shape, scale, weights : ndarray, shape (n_draws,)
        Draws of the Weibull law. [1], [the clock], [1]
    """
    weights = weights / weights.sum()
    top = LONGEST * float(weights @ weibull_mean(shape, scale))
    ages = top * np.geomspace(SMALLEST, 1.0, N_AGES)
    hazard = (ages / scale[:, None]) ** shape[:, None]
    alive = np.exp(-hazard)
    lived = lived_age(ages, shape, hazard, alive)
    return LawGrid(ages=ages, alive=alive, lived=lived, weights=weights)


def law_curve(law: LawGrid, *, own: float, share: float, failure: float) -> LawCurve:
    """Curve of a part that is changed at ``own``, in a visit of which it bears ``share``.

    Parameters
    ----------
    law : LawGrid
    own, share, failure : float
        Planned replacement, its part of the visit, a failure all in. [currency]
    """
    rates = (failure + (own + share - failure) * law.alive) / law.lived
    mean = law.weights @ rates
    best = int(np.argmin(mean))
    renewals = law.weights / law.lived[:, best]
    renewals = renewals / renewals.sum()
    zero = np.zeros(1)
    return LawCurve(
        ages=np.concatenate([zero, law.ages]),
        alive=np.concatenate([np.ones(1), renewals @ law.alive]),
        cost=np.concatenate([zero, (renewals * rates[:, best]) @ law.lived]),
        own=own,
        share=share,
        failure=failure,
        best_age=float(law.ages[best]),
        rate=float(mean[best]),
    )


def law_worth(curve: LawCurve, age: float, per_day: float, n_days: int) -> Worth:
    """Worth of changing a part of the age given, on its clock, that runs ``per_day`` of it.

    Notes
    -----
    From age x, changed at x + t unless it fails before, a part costs
    own R + failure (1 - R) - g (time lived), R the chance to live t on and g the long-run cost
    rate with its share of visits; after a failure a new part runs at g, so nothing more counts.
    The figure is 0 for a new part changed at its best age, its share of the visit included.
    """
    first, end_first = _from_age(curve, age, per_day, n_days)
    again, end_again = _from_age(curve, 0.0, per_day, n_days)
    return Worth(first=first, again=again, end_first=end_first, end_again=end_again)


def open_age(curve: LawCurve) -> float:
    """Age from which a part is better changed, the machine being open anyway, than left."""
    own, ahead = curve.own, _to_go(curve)
    past = np.flatnonzero(ahead >= own)
    if curve.share <= 0 or not len(past):
        return curve.best_age if len(past) else math.inf
    at = int(past[0])
    if at == 0:
        return 0.0
    low, high = ahead[at - 1], ahead[at]
    part = (own - low) / (high - low) if high > low else 1.0
    return float(curve.ages[at - 1] + part * (curve.ages[at] - curve.ages[at - 1]))


def _to_go(curve: LawCurve) -> Array:
    """Least cost from each age of the grid on, planned work paying its share of a visit."""
    # both terms are sums to a later age; the least over later ages is a minimum from the right
    ahead = (curve.own + curve.share - curve.failure) * curve.alive - curve.cost
    least = np.minimum.accumulate(ahead[::-1])[::-1]
    known = np.maximum(curve.alive, LEAST_ALIVE)
    out: Array = (least + curve.failure * curve.alive + curve.cost) / known
    return out


def _from_age(curve: LawCurve, age: float, per_day: float, n_days: int) -> tuple[Array, Array]:
    last = curve.ages[int(np.flatnonzero(curve.alive >= LEAST_ALIVE)[-1])]
    start = min(age, float(last))
    after = start + per_day * np.arange(n_days)
    alive_now = float(np.interp(start, curve.ages, curve.alive))
    cost_now = float(np.interp(start, curve.ages, curve.cost))
    alive = np.interp(after, curve.ages, curve.alive)
    cost = np.interp(after, curve.ages, curve.cost)
    left = curve.failure * (alive_now - alive) - (cost - cost_now)
    done = (curve.own * alive + left) / alive_now
    ahead = (curve.own + curve.share - curve.failure) * curve.alive - curve.cost
    least = np.interp(after, curve.ages, np.minimum.accumulate(ahead[::-1])[::-1])
    full = (curve.own + curve.share - curve.failure) * alive - cost
    end = (np.minimum(least, full) + curve.failure * alive_now + cost_now) / alive_now
    return done, end


def interval_worth(
    *, own: float, share: float, failure: float, due: float, period: float, n_days: int
) -> Worth:
    """Worth of a task of which only the interval is known.

    Done early, the rest of its interval is lost; late, each interval late counts 3 failures (our
    proposal).
    """
    rate = (own + share) / period
    late = LATE_FAILURES * failure / period
    days = np.arange(n_days, dtype=float)

    def curves(left: float) -> tuple[Array, Array]:
        ahead = max(left, 0.0)
        lateness = late * np.maximum(days - ahead, 0.0)
        done = own - rate * days + lateness
        return done, own + share - rate * np.maximum(days, ahead) + lateness

    first, end_first = curves(due)
    again, end_again = curves(period)
    return Worth(first=first, again=again, end_first=end_first, end_again=end_again)


def ride_worth(*, due: float, period: float, ahead: float, n_days: int, small: float) -> Worth:
    """Worth of a task that makes no visit of its own: a trifle when due, a loss when not."""
    days = np.arange(n_days)
    first = np.where(days >= due - ahead, -small, small)
    again = np.where(days >= max(period - ahead, period / 2), -small, small)
    zero = np.zeros(n_days)
    return Worth(first=first, again=again, end_first=zero, end_again=zero)


def with_limit(worth: Worth, *, due: float, limit: float, failure: float) -> Worth:
    """Worth of a task that may never be later than its limit.

    Parameters
    ----------
    due, limit : float
        Last day of the first time, and of each time after the one before. [days]; where ``due``
        has passed, every day more counts as much as a large part of a failure.
    failure : float
        [currency]
    """
    days = np.arange(len(worth.first), dtype=float)
    if due <= 0:
        slope = HURT_FAILURES * failure / DAYS_PER_MONTH
        first = worth.first + slope * days
        end_first = worth.end_first + slope * days + HURT_FAILURES * failure
    else:
        first = np.where(days <= due, worth.first, np.inf)
        end_first = np.where(days <= due, worth.end_first, np.inf)
    return Worth(
        first=first,
        again=np.where(days <= limit, worth.again, np.inf),
        end_first=end_first,
        end_again=np.where(days <= limit, worth.end_again, np.inf),
    )
