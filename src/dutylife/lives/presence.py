"""Is a machine that was not seen for a while still a customer's? A small model of the gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FEWEST_MACHINES = 8  # below it three parameters can't be told; our proposal
RECENT_DAYS = 365.0  # then: seen within a year counts as still there; our proposal
PROB_RECENT, PROB_LONG_AGO = 0.9, 0.1
_RATES = np.exp(np.linspace(np.log(1e-6), np.log(5.0), 320))  # visits a day, all a machine may have
_STEP = float(np.log(_RATES[1] / _RATES[0]))


@dataclass(frozen=True, slots=True)
class Presence:
    """Fitted gap model: visits by machine vary as a gamma law, machines leave at a constant rate.

    ``shape`` and ``rate_days`` are of the gamma law of visits a day; ``leaving_per_day`` is the
    hazard of leaving. None of them where the fallback was used.
    """

    n_machines: int
    shape: float | None
    rate_days: float | None
    leaving_per_day: float | None

    @property
    def is_fitted(self) -> bool:
        """Whether there were machines enough for the model."""
        return self.shape is not None


def prob_in_service(
    n_visits: Array, last_visit_days: Array, watched_days: Array, left: NDArray[np.bool_]
) -> tuple[Array, Presence]:
    """Probability that each machine is still a customer's at the end of watching.

    Parameters
    ----------
    n_visits : ndarray, shape (n,)
        Visits after watching began (a first visit that began it is not counted).
    last_visit_days : ndarray, shape (n,)
        Days from the begin of watching to the last visit; 0 without visits.
    watched_days : ndarray, shape (n,)
        Days from the begin of watching to the as-of date, or to the known day of leaving.
    left : ndarray of bool, shape (n,)
        The machine is known to have left at ``watched_days``.

    Returns
    -------
    probability : ndarray, shape (n,)
        0 for machines known to have left.
    model : Presence

    Notes
    -----
    A machine visits as a Poisson process of rate lam, gamma distributed over machines, and leaves
    at a constant hazard mu; leaving is not seen. For given lam the likelihood of x visits, the
    last at t, watched for T, is lam^x [mu e^{-(lam+mu) t} + lam e^{-(lam+mu) T}] / (lam + mu);
    the second term is that of a machine still there. The integral over lam is a sum over a fixed
    grid of log rates; shape, rate and mu maximise the product over machines. With fewer than
    `FEWEST_MACHINES` machines that visited at all: seen within `RECENT_DAYS` counts as there
    with probability `PROB_RECENT`, else `PROB_LONG_AGO`.
    """
    watched = np.maximum(watched_days, last_visit_days)
    usable = (watched > 0) & (n_visits >= 0)
    if usable.sum() < FEWEST_MACHINES or n_visits[usable].sum() < FEWEST_MACHINES:
        recent = watched - last_visit_days <= RECENT_DAYS
        known = np.where(recent, PROB_RECENT, PROB_LONG_AGO)
        return np.where(left, 0.0, known), Presence(int(usable.sum()), None, None, None)
    gone, there = _kernels(n_visits, last_visit_days, watched)
    theta = _fitted(gone[usable], there[usable], last_visit_days[usable], watched[usable],
                    n_visits[usable], left[usable])  # fmt: skip
    log_gone, log_there = _terms(theta, gone, there, last_visit_days, watched)
    probability = 1.0 / (1.0 + np.exp(np.clip(log_gone - log_there, -700, 700)))
    probability = np.where(left, 0.0, np.where(watched > 0, probability, 1.0))
    shape, rate, leaving = np.exp(theta)
    return probability, Presence(int(usable.sum()), float(shape), float(rate), float(leaving))


def _kernels(visits: Array, last: Array, watched: Array) -> tuple[Array, Array]:
    """Parts of the likelihood that no parameter changes, on the grid; shape (n, rates).

    Each row is scaled by its own largest entry, the same for both parts.
    """
    log_rate = np.log(_RATES)
    gone = visits[:, None] * log_rate - np.outer(last, _RATES)
    there = (visits + 1.0)[:, None] * log_rate - np.outer(watched, _RATES)
    top = np.maximum(gone.max(axis=1), there.max(axis=1))[:, None]
    return np.exp(gone - top), np.exp(there - top)


def _terms(
    theta: Array, gone: Array, there: Array, last: Array, watched: Array
) -> tuple[Array, Array]:
    """Log likelihood of having left unseen since the last visit, and of being there still."""
    shape, rate, leaving = np.exp(theta)
    weight = _gamma(shape, rate) / (_RATES + leaving)
    with np.errstate(divide="ignore"):
        log_gone = np.log(leaving) - leaving * last + np.log(gone @ weight)
        log_there = -leaving * watched + np.log(there @ weight)
    return log_gone, log_there


def _gamma(shape: float, rate: float) -> Array:
    """Weights of the grid of rates under the gamma law; they add up to 1."""
    log_density = shape * np.log(_RATES) - rate * _RATES
    weight: Array = np.exp(log_density - log_density.max())
    total: Array = weight / weight.sum()
    return total


def _fitted(
    gone: Array, there: Array, last: Array, watched: Array, visits: Array, left: NDArray[np.bool_]
) -> Array:
    """Log of gamma shape, gamma rate and hazard of leaving at the largest likelihood."""
    from scipy.optimize import minimize

    mean_rate = float(visits.sum() / watched.sum())
    start = np.log([1.0, 1.0 / mean_rate, 0.3 / float(watched.max())])
    low = np.log([0.05, 1e-3, 1e-7])
    high = np.log([200.0, 1e7, 0.05])

    def cost(theta: Array) -> float:
        inside = np.clip(theta, low, high)
        outside = float(np.square(theta - inside).sum())
        log_gone, log_there = _terms(inside, gone, there, last, watched)
        # known to have left at the end of watching: there until then, then left
        shape, rate, leaving = np.exp(inside)
        with np.errstate(divide="ignore"):
            weight = _gamma(shape, rate) / _RATES
            log_left = np.log(leaving) - leaving * watched + np.log(there @ weight)
        each = np.where(left, log_left, np.logaddexp(log_gone, log_there))
        return float(-each.sum()) + 1e3 * outside

    best = minimize(
        cost, start, method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-7, "maxiter": 2000}
    )
    found: Array = np.clip(best.x, low, high)
    return found
