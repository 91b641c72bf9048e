"""Is a machine that was not seen for a while still a customer's? A small model of the gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.visit_gaps import Array, Kernel, Visits, kernel_of

FEWEST_MACHINES = 8  # below it the parameters can't be told; our proposal
RECENT_DAYS = 365.0  # then: seen within a year counts as still there; our proposal
PROB_RECENT, PROB_LONG_AGO = 0.9, 0.1
MOST_FITTED = 1500  # machines the parameters are fitted to, evenly taken of more
BLOCK = 2000  # machines whose probability is worked out at once
_EVENNESS = (0.5, 6.0)  # of gaps, all that is looked at
_FEWEST_GAPS = 30  # below it gaps are taken to be as chance has them; our proposal


@dataclass(frozen=True, slots=True)
class Presence:
    """Fitted gap model: visits by machine vary as a gamma law, machines leave at a constant rate.

    ``shape`` and ``rate_days`` are of the gamma law of visits a day; ``leaving_per_day`` is the
    hazard of leaving; ``evenness`` the shape of the law of gaps between visits, 1 where they come
    by chance. None of them where the fallback was used.
    """

    n_machines: int
    shape: float | None
    rate_days: float | None
    leaving_per_day: float | None
    evenness: float | None = None

    @property
    def is_fitted(self) -> bool:
        """Whether there were machines enough for the model."""
        return self.shape is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """Gaps between visits of each machine; all arrays of shape (n,).

    ``n``, their ``days`` in sum and ``log_days``, the sum of their logarithms;
    ``began_with_visit``: watching began at a visit, from which the first gap counts.
    """

    n: Array
    days: Array
    log_days: Array
    began_with_visit: NDArray[np.bool_]


def prob_in_service(
    n_visits: Array, last_visit_days: Array, watched_days: Array, left: NDArray[np.bool_],
    gaps: Gaps | None = None,
) -> tuple[Array, Presence]:  # fmt: skip
    """Probability that each machine is still a customer's at the end of watching.

    Parameters and notes as in `stays_of`.

    Returns
    -------
    probability : ndarray, shape (n,)
        0 for machines known to have left.
    model : Presence
    """
    probability, _, model = stays_of(n_visits, last_visit_days, watched_days, left, gaps)
    return probability, model


def stays_of(
    n_visits: Array, last_visit_days: Array, watched_days: Array, left: NDArray[np.bool_],
    gaps: Gaps | None = None,
) -> tuple[Array, Array, Presence]:  # fmt: skip
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
    gaps : Gaps, optional
        Without it visits come by chance.

    Returns
    -------
    probability : ndarray, shape (n,)
        0 for machines known to have left.
    stay_days : ndarray, shape (n,)
        Mean days from the last visit to the end of watching or to leaving, whichever is first.
    model : Presence

    Notes
    -----
    A machine visits at a rate of its own, gamma distributed over machines, and leaves at a
    constant hazard; leaving is not seen. Gaps between visits follow a gamma law whose shape is the
    same for all: visits of a machine that is serviced are more even than chance, so that a long
    silence says more. The likelihood is summed over the days on which it may have left
    (`visit_gaps.kernel_of`) and over a fixed grid of log rates; the parameters maximise the
    product over machines.
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
    seen = _visits(np.maximum(n_visits, 0.0), last_visit_days, gap, gaps)
    chosen = np.flatnonzero(usable)
    if len(chosen) > MOST_FITTED:
        chosen = chosen[np.linspace(0, len(chosen) - 1, MOST_FITTED).round().astype(int)]
    evenness, theta = _fitted(
        seen.of(chosen), left[chosen], float(n_visits[usable].sum() / watched[usable].sum()),
        may_be_even=gaps is not None,
    )  # fmt: skip
    shape, rate, leaving = (float(v) for v in np.exp(theta))
    probability, stay = np.empty(len(gap)), np.empty(len(gap))
    for at in range(0, len(gap), BLOCK):
        rows = slice(at, at + BLOCK)
        kernel = kernel_of(seen.of(rows), evenness)
        there, gone = kernel.there_and_gone(shape, rate, leaving)
        stayed = kernel.stayed(shape, rate, leaving)
        probability[rows] = there / np.maximum(there + gone, 1e-300)
        stay[rows] = np.where(gone > 0, stayed / np.maximum(gone, 1e-300), 0.0)
    probability = np.where(left, 0.0, np.where(watched > 0, probability, 1.0))
    stay = probability * gap + (1.0 - probability) * np.minimum(stay, gap)
    model = Presence(int(usable.sum()), shape, rate, leaving, evenness)
    return probability, np.where(left, gap, stay), model


def _visits(n_visits: Array, last: Array, gap: Array, gaps: Gaps | None) -> Visits:
    none = np.zeros(len(gap))
    given = gaps or Gaps(
        n=none, days=none, log_days=none, began_with_visit=np.zeros(len(gap), dtype=bool)
    )
    return Visits(
        n=n_visits, last_days=last, n_gaps=given.n, gaps_days=given.days, gaps_log=given.log_days,
        open_days=gap, is_open_from_visit=(n_visits > 0) | given.began_with_visit,
    )  # fmt: skip


def _fitted(
    seen: Visits, left: NDArray[np.bool_], mean: float, *, may_be_even: bool
) -> tuple[float, Array]:
    """Evenness of gaps; log of gamma shape, gamma rate and hazard of leaving at its best."""
    from scipy.optimize import minimize_scalar

    start = np.log([1.0, 1.0 / mean, 0.3 / float((seen.last_days + seen.open_days).max())])
    if not may_be_even or seen.n_gaps.sum() < _FEWEST_GAPS:
        return 1.0, _at(1.0, seen, left, start)[1]
    found = {0.0: _at(1.0, seen, left, start)}

    def cost(log_evenness: float) -> float:
        nearest = min(found, key=lambda tried: abs(tried - log_evenness))
        found[log_evenness] = _at(float(np.exp(log_evenness)), seen, left, found[nearest][1])
        return found[log_evenness][0]

    minimize_scalar(
        cost, bounds=tuple(np.log(_EVENNESS)), method="bounded", options={"xatol": 0.03}
    )
    best = min(found, key=lambda tried: found[tried][0])
    return float(np.exp(best)), found[best][1]


def _at(
    evenness: float, seen: Visits, left: NDArray[np.bool_], start: Array
) -> tuple[float, Array]:
    """Smallest cost at an evenness, and where: log of gamma shape, gamma rate, hazard."""
    from scipy.optimize import minimize

    kernel = kernel_of(seen, evenness)
    low = np.log([0.05, 1e-3, 1e-7])
    high = np.log([200.0, 1e7, 0.05])
    best = minimize(
        lambda theta: _cost(theta, kernel, seen, left, low, high), start, method="Nelder-Mead",
        options={"xatol": 1e-3, "fatol": 1e-5, "maxiter": 1000},
    )  # fmt: skip
    return float(best.fun), np.asarray(np.clip(best.x, low, high))


def _cost(
    theta: Array, kernel: Kernel, seen: Visits, left: NDArray[np.bool_], low: Array, high: Array
) -> float:
    inside = np.clip(theta, low, high)
    outside = float(np.square(theta - inside).sum())
    shape, rate, leaving = (float(v) for v in np.exp(inside))
    there, gone = kernel.there_and_gone(shape, rate, leaving)
    # known to have left at the end of watching: there until then, then left
    each = np.where(left, leaving * there, there + gone)
    log = np.log(np.maximum(each, 1e-300)) - leaving * seen.last_days + kernel.log_scale
    return float(-log.sum()) + 1e3 * outside
