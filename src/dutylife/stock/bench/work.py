"""Counts of machines to hours of labour and to machines in the shop at once."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
STEP_HOURS = 0.25  # labour is billed in quarters of an hour
LEAST_STAY_DAYS = 0.5  # of a machine ready on the day it came in; our proposal
_MOST_POINTS = 2**15
_NO_SPREAD = 1e-6


def hours_quantiles(
    levels: tuple[float, ...], mean: float, spread: float, hours: Array, weight: Array,
    planned_hours: Array, share_done: float,
) -> list[float]:  # fmt: skip
    """Quantiles of the hours that a week's machines ask for [hours].

    Parameters
    ----------
    levels : tuple of float
    mean, spread : float
        Of the unplanned machines: negative binomial, variance mean + spread x mean^2.
    hours, weight : ndarray, shape (n_visits,)
        Hours of each past visit, and its share; all alike independent of how many come.
    planned_hours : ndarray, shape (n_planned,)
        Hours of each visit of the plan, done with a chance of ``share_done``.

    Notes
    -----
    Exact on steps of `STEP_HOURS`: the law of a sum of a random number of visits by its
    transform, G(phi(t)), on a circle long enough that what wraps around it is nothing.
    """
    size = float(weight @ hours) if len(hours) else 0.0
    square = float(weight @ hours**2) if len(hours) else 0.0
    total = mean * size + share_done * float(planned_hours.sum())
    variance = mean * square + spread * (mean * size) ** 2 + float((planned_hours**2).sum())
    reach = total + 14.0 * np.sqrt(variance) + 8.0 * max([*hours, *planned_hours, 1.0])
    step = STEP_HOURS * max(int(np.ceil(reach / STEP_HOURS / _MOST_POINTS)), 1)
    n = int(2 ** np.ceil(np.log2(reach / step + 2)))
    transform = np.ones(n // 2 + 1, dtype=complex)
    if mean > 0 and len(hours):
        each = np.fft.rfft(_on_steps(hours, weight, step, n))
        if spread > _NO_SPREAD:
            transform *= (1.0 + spread * mean * (1.0 - each)) ** (-1.0 / spread)
        else:
            transform *= np.exp(mean * (each - 1.0))
    turn = np.exp(-2j * np.pi * np.arange(n // 2 + 1) / n)
    for one in np.round(planned_hours / step):
        transform *= 1.0 - share_done + share_done * turn**one
    chance = np.maximum(np.fft.irfft(transform, n), 0.0)
    below = np.cumsum(chance / chance.sum())
    return [float(np.searchsorted(below, level - 1e-9)) * step for level in levels]


def machines_there(arrivals: Array, days_there: Array) -> Array:
    """Mean machines in the shop at once in each week, shape as ``arrivals``.

    Parameters
    ----------
    arrivals : ndarray, shape (n_weeks,)
        Machines arriving in each week; before the first, as many as in it. [machines]
    days_there : ndarray, shape (n_visits,)
        Days from received to ready of past visits. [days]

    Notes
    -----
    Each arrival comes at any time of its week and stays as the past ones did; a machine is there
    at a moment of week w with the chance that its stay reaches that moment. In a steady shop this
    is Little's law: machines there = machines arriving a day x mean days there.

    References
    ----------
    Little (1961), A proof for the queuing formula L = lambda W, Operations Research 9.

    Examples
    --------
    >>> machines_there(np.full(3, 7.0), np.array([2.0, 4.0])).round(6).tolist()
    [3.0, 3.0, 3.0]
    """
    stay = np.maximum(days_there, LEAST_STAY_DAYS) / 7.0  # weeks
    most = int(np.ceil(stay.max())) + 1
    lag = _shares_by_lag(stay, most)
    padded = np.concatenate([np.full(most, arrivals[0]), arrivals])
    return np.asarray(np.convolve(padded, lag, mode="full")[most : most + len(arrivals)])


def _shares_by_lag(stay: Array, most: int) -> Array:
    """Mean share of week w that an arrival of week w - j is there, j = 0 to ``most``."""

    def until(x: Array) -> Array:
        """Mean of min(stay, x)'s integral: time there up to x weeks, from 0, integrated."""
        x = np.maximum(x, 0.0)[:, None]
        return np.asarray(
            np.where(x <= stay, x**2 / 2.0, stay**2 / 2.0 + stay * (x - stay)).mean(axis=1)
        )

    j = np.arange(most + 1, dtype=float)
    return until(j + 1) - 2.0 * until(j) + until(j - 1)


def _on_steps(hours: Array, weight: Array, step: float, n: int) -> Array:
    """Law of one visit's hours on steps: each goes to its two neighbours, so the mean stays."""
    place = hours / step
    low = np.floor(place).astype(int)
    part = place - low
    out = np.bincount(low, weights=weight * (1 - part), minlength=n)
    return np.asarray(out + np.bincount(low + 1, weights=weight * part, minlength=n))
