"""Is a machine that was not seen for a while still a customer's? A small model of the gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FEWEST_MACHINES = 8  # below it three parameters can't be told; our proposal
RECENT_DAYS = 365.0  # then: seen within a year counts as still there; our proposal
PROB_RECENT, PROB_LONG_AGO = 0.9, 0.1
_RATES = np.exp(np.linspace(np.log(1e-6), np.log(5.0), 320))  # visits a day, all a machine may have


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

    Parameters and notes as in `stays_of`.

    Returns
    -------
    probability : ndarray, shape (n,)
        0 for machines known to have left.
    model : Presence
    """
    probability, _, model = stays_of(n_visits, last_visit_days, watched_days, left)
    return probability, model


def stays_of(
    n_visits: Array, last_visit_days: Array, watched_days: Array, left: NDArray[np.bool_]
) -> tuple[Array, Array, Presence]:
    """Whether each machine is still a customer's, and how long after its last visit it was.

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
    stay_days : ndarray, shape (n,)
        Mean days from the last visit to the end of watching or to leaving, whichever is first.
    model : Presence

    Notes
    -----
    A machine visits as a Poisson process of rate lam, gamma distributed over machines, and leaves
    at a constant hazard mu; leaving is not seen. For given lam the likelihood of x visits, the
    last at t, watched for T, is lam^x e^{-(lam+mu) T} where it is still there; where it left at
    some s in (t, T], lam^x mu e^{-(lam+mu) s}, which is summed over s. The integral over lam is a
    sum over a fixed grid of log rates; shape, rate and mu maximise the product over machines.
    A machine that left did so some time after its last visit: to end its lives at that visit would
    count too little time without failures, and make lives look short.
    With fewer than `FEWEST_MACHINES` machines that visited at all: seen within `RECENT_DAYS`
    counts as there with probability `PROB_RECENT`, else `PROB_LONG_AGO`, and ``stay_days`` is 0
    for the second.
    """
    watched = np.maximum(watched_days, last_visit_days)
    usable = (watched > 0) & (n_visits >= 0)
    gap = watched - last_visit_days
    if usable.sum() < FEWEST_MACHINES or n_visits[usable].sum() < FEWEST_MACHINES:
        recent = gap <= RECENT_DAYS
        known = np.where(left, 0.0, np.where(recent, PROB_RECENT, PROB_LONG_AGO))
        stay = np.where(left | recent, gap, 0.0)
        return known, stay, Presence(int(usable.sum()), None, None, None)
    seen = _kernels(n_visits, last_visit_days, gap)
    theta = _fitted(seen, usable, left, float(n_visits[usable].sum() / watched[usable].sum()))
    there, gone, stayed = _terms(theta, seen)
    probability = there / np.maximum(there + gone, 1e-300)
    probability = np.where(left, 0.0, np.where(watched > 0, probability, 1.0))
    if_gone = np.where(gone > 0, stayed / np.maximum(gone, 1e-300), 0.0)
    stay = probability * gap + (1.0 - probability) * np.minimum(if_gone, gap)
    shape, rate, leaving = np.exp(theta)
    model = Presence(int(usable.sum()), float(shape), float(rate), float(leaving))
    return probability, np.where(left, gap, stay), model


@dataclass(frozen=True, slots=True)
class _Seen:
    """Parts of the likelihood that no parameter changes, on the grid of rates.

    ``at_last`` and ``at_end`` are lam^x e^{-lam t} and lam^x e^{-lam T}, shape (n, rates), each
    row scaled by its own largest entry of the first; ``last`` and ``gap`` are days, shape (n,).
    """

    at_last: Array
    at_end: Array
    last: Array
    gap: Array


def _kernels(visits: Array, last: Array, gap: Array) -> _Seen:
    log_rate = np.log(_RATES)
    at_last = visits[:, None] * log_rate - np.outer(last, _RATES)
    at_last -= at_last.max(axis=1)[:, None]
    at_end = np.exp(at_last - np.outer(gap, _RATES))
    return _Seen(np.exp(at_last), at_end, last, gap)


def _terms(theta: Array, seen: _Seen) -> tuple[Array, Array, Array]:
    """Likelihood of being there still, of having left unseen, and that times the days stayed.

    All of each machine on one scale, shape (n,).
    """
    shape, rate, leaving = np.exp(theta)
    weight = _gamma(shape, rate)
    both = _RATES + leaving
    since_last = np.exp(-leaving * seen.gap)
    there = since_last * (seen.at_end @ weight)
    last_1, end_1 = seen.at_last @ (weight / both), seen.at_end @ (weight / both)
    last_2, end_2 = seen.at_last @ (weight / both**2), seen.at_end @ (weight / both**2)
    gone = leaving * np.maximum(last_1 - since_last * end_1, 0.0)
    stayed = leaving * np.maximum(last_2 - since_last * (end_2 + seen.gap * end_1), 0.0)
    return there, gone, stayed


def _gamma(shape: float, rate: float) -> Array:
    """Weights of the grid of rates under the gamma law; they add up to 1."""
    log_density = shape * np.log(_RATES) - rate * _RATES
    weight: Array = np.exp(log_density - log_density.max())
    total: Array = weight / weight.sum()
    return total


def _fitted(seen: _Seen, usable: NDArray[np.bool_], left: NDArray[np.bool_], mean: float) -> Array:
    """Log of gamma shape, gamma rate and hazard of leaving at the largest likelihood."""
    from scipy.optimize import minimize

    rows = _Seen(seen.at_last[usable], seen.at_end[usable], seen.last[usable], seen.gap[usable])
    known = left[usable]
    start = np.log([1.0, 1.0 / mean, 0.3 / float((rows.last + rows.gap).max())])
    low = np.log([0.05, 1e-3, 1e-7])
    high = np.log([200.0, 1e7, 0.05])

    def cost(theta: Array) -> float:
        inside = np.clip(theta, low, high)
        outside = float(np.square(theta - inside).sum())
        there, gone, _ = _terms(inside, rows)
        leaving = float(np.exp(inside[2]))
        # known to have left at the end of watching: there until then, then left
        each = np.where(known, leaving * there, there + gone)
        log = np.log(np.maximum(each, 1e-300)) - leaving * rows.last
        return float(-log.sum()) + 1e3 * outside

    best = minimize(
        cost, start, method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-7, "maxiter": 2000}
    )
    found: Array = np.clip(best.x, low, high)
    return found
