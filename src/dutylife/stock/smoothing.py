"""Recursions of intermittent demand: what is expected before each period and after the last."""

import math

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def croston(
    y: Array, alpha: float, beta: float, first: str, start: tuple[float, float] | None
) -> tuple[Array, float, float]:
    """Forecast before each period and after the last, size, interval."""
    steps = np.full(len(y) + 1, math.nan)
    size, interval = (math.nan, math.nan) if start is None else start
    since, waits = 0, first == "dropped"
    for t, d in enumerate(y):
        steps[t] = size / interval
        since += 1
        if d > 0:
            size = d if math.isnan(size) else size + alpha * (d - size)
            if waits and math.isnan(interval):
                waits = False  # the next gap starts the intervals
            else:
                interval = since if math.isnan(interval) else interval + beta * (since - interval)
            since = 0
    steps[-1] = size / interval
    if start is None and not np.any(y > 0):
        steps[-1] = 0.0
    return steps, float(size), float(interval)


def tsb(
    y: Array, alpha: float, beta: float, start: tuple[float, float] | None
) -> tuple[Array, float, float]:
    """Forecast before each period and after the last, size, chance."""
    steps = np.full(len(y) + 1, math.nan)
    size, chance = (math.nan, math.nan) if start is None else start
    for t, d in enumerate(y):
        steps[t] = size * chance
        if math.isnan(chance):
            if d > 0:
                size, chance = float(d), 1 / (t + 1)
            continue
        chance += beta * (float(d > 0) - chance)
        if d > 0:
            size += alpha * (d - size)
    steps[-1] = size * chance
    if start is None and not np.any(y > 0):
        steps[-1] = 0.0
    return steps, float(size), float(chance)


def smoothed(y: Array, alpha: float, start: float | None) -> Array:
    """Level before each period and after the last, exponentially smoothed."""
    steps = np.full(len(y) + 1, math.nan)
    level = math.nan if start is None else start
    for t, d in enumerate(y):
        steps[t] = level
        level = d if math.isnan(level) else level + alpha * (d - level)
    steps[-1] = level
    return steps


def averaged(y: Array, window: int) -> Array:
    """Mean of the last periods, before each period and after the last."""
    steps = [math.nan] + [float(y[max(0, t - window) : t].mean()) for t in range(1, len(y) + 1)]
    return np.array(steps)


def dispersion_of(y: Array, fit: str) -> float:
    """Size parameter of a negative binomial law; ``inf`` where demand varies no more than Poisson.

    The likelihood's slope by the size, the mean held at the sample's, is 0 there.
    """
    from scipy.optimize import brentq
    from scipy.special import digamma

    mean = float(y.mean())
    extra = (float(y.var(ddof=1)) if len(y) > 1 else 0.0) - mean
    if fit == "moments":
        return mean**2 / extra if extra > 0 else math.inf
    if not float(y.var()) > mean:
        return math.inf

    def slope(log_size: float) -> float:
        k = math.exp(log_size)
        return float(np.mean(digamma(y + k) - digamma(k)) - math.log1p(mean / k))

    # the slope falls through 0 once; far out it nears 0 from below
    high = math.log(mean**2 / max(float(y.var()) - mean, 1e-9))
    low = high
    while slope(low) < 0 and low > -40:
        low -= 1
    while slope(high) > 0 and high < 40:
        high += 1
    return math.exp(float(brentq(slope, low, high))) if high < 40 else math.inf
