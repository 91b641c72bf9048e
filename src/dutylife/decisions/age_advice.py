"""A replacement age to act on: the cheapest one, rounded as the trade does, and where it holds."""

import math
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age_result import FLAT, flat_stretch
from dutylife.decisions.age_weibull import (
    checked_draws,
    lived_age,
    refined,
    weibull_mean,
    weighted_quantiles,
)
from dutylife.decisions.rounding import Rounded, rounded
from dutylife.wording import chances, number, percent

Array = npt.NDArray[np.float64]
# the gate: by the pooled law the chance that risk rises with age is at least this
WEARS = 0.9
_FAR = 4.0  # mean scales: beyond it hardly any part still works
_SMALLEST, _N_AGES = 1e-3, 241
# failure over planned cost at which an advice is tried again
_RATIOS = np.geomspace(1.01, 200.0, 400)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplacementAdvice:
    """Replacement age under what is not known of the law, with what it saves.

    Parameters
    ----------
    best_age : float
        Age of least expected cost. [age]
    interval, lower, upper : float
        Age advised, rounded inside the stretch of ages within 2 % of the least cost, and that
        stretch. [age]
    rounded_to : float
        Step it is a multiple of, NaN where none fits. [age]
    cost_rate, cost_rate_run_to_failure : float
        Mean over draws, at ``interval`` and without it. [currency per unit of age]
    saving_rate, saving_rate_lower, saving_rate_upper : float
        What ``interval`` saves against waiting for failure: mean, range over draws.
        [currency per unit of age]
    probability_it_pays : float
        Weighted share of draws in which ``interval`` costs less than waiting. [1]
    probability_wears : float
        Chance that risk rises with age (shape above 1): of this law, or of the component over
        its duties where that is greater. [1]
    survive : float
        Share of parts still working at ``interval``. [1]
    holds_lower, holds_upper : float
        Range of failure over planned cost in which the advice costs at most 2 % more than the
        best, waiting included; NaN where it has no end within 200. [1]
    beyond_seen : bool
        ``interval`` lies beyond the longest life seen.
    """

    best_age: float
    interval: float
    lower: float
    upper: float
    rounded_to: float
    cost_rate: float
    cost_rate_run_to_failure: float
    saving_rate: float
    saving_rate_lower: float
    saving_rate_upper: float
    probability_it_pays: float
    probability_wears: float
    survive: float
    holds_lower: float
    holds_upper: float
    beyond_seen: bool

    @property
    def saving(self) -> float:
        """Share of the run-to-failure cost saved [1]."""
        return self.saving_rate / self.cost_rate_run_to_failure

    @property
    def table(self) -> pd.DataFrame:
        """One row, a column for each figure."""
        return pd.DataFrame([{f.name: getattr(self, f.name) for f in fields(self)}])

    @property
    def text(self) -> str:
        """One sentence, in the clock of the law."""
        chance = chances(self.probability_wears)
        if not self.pays:
            return (
                f"Run to failure ({number(self.cost_rate_run_to_failure)} per unit of age): risk "
                f"rises with age by {chance}, and {percent(self.saving)} would be saved."
            )
        ends = f"{number(self.lower)} to {number(self.upper)}"
        return (
            f"Replace at {number(self.interval, 4)} ({ends} costs nearly the same): "
            f"{percent(self.saving)} less than waiting for failure, "
            f"{chances(self.probability_it_pays)} that it pays; risk rises with age by {chance}."
        )

    @property
    def pays(self) -> bool:
        """The gate: risk rises with age in 9 chances of 10, and money is expected to be saved."""
        return (
            math.isfinite(self.interval)
            and self.probability_wears >= WEARS
            and self.saving_rate > 0
        )


def replacement_advice(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    *,
    planned_cost: float,
    failure_cost: float,
    longest_seen: float,
    steps: tuple[float, ...] = (),
    ceiling: float = math.inf,
    confidence_level: float = 0.90,
    component_wears: float = math.nan,
) -> ReplacementAdvice:
    """Replacement age with the least expected cost over weighted draws of a Weibull law.

    Parameters
    ----------
    shape, scale, weights : array_like, shape (n_draws,)
        As in `age_replacement_weibull`.
    planned_cost, failure_cost : float
        Of one replacement, all in; the latter above the former. [currency]
    longest_seen : float
        Longest life seen, of the pool where the law is pooled. [age]
    steps : tuple of float
        Steps an age is rounded to; see `rounded`. [age]
    ceiling : float
        No age beyond it. [age]
    confidence_level : float
        Level of the range of savings. [1]
    component_wears : float
        Pooled chance that risk rises with age, of the component over all its duties; the gate
        takes the greater of it and this law's own. NaN where none is known. [1]

    Returns
    -------
    ReplacementAdvice
        ``interval`` is infinite where the cost still falls at four mean characteristic lives.

    Raises
    ------
    DecisionError
        A cost, law or age that can't be.

    Notes
    -----
    ``probability_wears`` takes log shape as normal with the mean and variance of the draws, which
    are those of the posterior: 64 draws alone can't tell 0.9 from 0.875. Expected cost is linear in
    the two costs, so that one pass over the draws answers for every ratio of them.

    Examples
    --------
    >>> advice = replacement_advice([2.0], [100.0], planned_cost=1.0, failure_cost=5.0,
    ...                             longest_seen=300.0, steps=(5.0, 10.0))
    >>> round(advice.best_age), advice.interval, round(advice.saving, 2)
    (51, 50.0, 0.28)
    """
    from dutylife.decisions.age import check_costs

    check_costs(planned_cost, failure_cost)
    k, eta, w = checked_draws(shape, scale, weights)
    reach = min(max(longest_seen, _FAR * float(w @ eta)), ceiling)
    ages = reach * np.geomspace(_SMALLEST, 1.0, _N_AGES)
    hazard = (ages / eta[:, None]) ** k[:, None]
    alive = np.exp(-hazard)
    per_age = w[:, None] / lived_age(ages, k, hazard, alive)
    renewals, failures = (per_age * alive).sum(axis=0), (per_age * (1 - alive)).sum(axis=0)
    mean = planned_cost * renewals + failure_cost * failures
    at = int(np.argmin(mean))
    low, high = flat_stretch(ages, mean)
    best, _ = refined(ages, mean, at)
    still_falling = at == len(ages) - 1 and not math.isfinite(ceiling)
    found = rounded(best, min(low, best), max(high, best), steps, ceiling=ceiling)
    if still_falling:
        found = Rounded(math.inf, math.nan)
    planned, failed = _renewals(found.value, k, eta)
    waiting = 1 / weibull_mean(k, eta)
    saved = failure_cost * waiting - planned_cost * planned - failure_cost * failed
    tail = (1 - confidence_level) / 2
    saved_low, saved_high = weighted_quantiles(saved[:, None], w, (tail, 1 - tail))
    holds = _holds((float(w @ planned), float(w @ failed)), renewals, failures, float(w @ waiting))
    return ReplacementAdvice(
        best_age=best,
        interval=found.value,
        lower=min(low, best) if not still_falling else math.inf,
        upper=max(high, best) if not still_falling else math.inf,
        rounded_to=found.step,
        cost_rate=float(w @ (planned_cost * planned + failure_cost * failed)),
        cost_rate_run_to_failure=failure_cost * float(w @ waiting),
        saving_rate=float(w @ saved),
        saving_rate_lower=float(saved_low[0]),
        saving_rate_upper=float(saved_high[0]),
        probability_it_pays=min(float(w @ (saved > 0)), 1.0),
        probability_wears=float(np.fmax(probability_wears(k, w), component_wears)),
        survive=float(w @ np.exp(-((found.value / eta) ** k))),
        holds_lower=holds[0],
        holds_upper=holds[1],
        beyond_seen=found.value > longest_seen,
    )


def probability_wears(shape: Array, weights: Array) -> float:
    """Chance that shape is above 1, log shape taken as normal with the draws' mean and variance."""
    from scipy.special import ndtr

    q = np.log(shape)
    mean = float(weights @ q)
    sd = math.sqrt(max(float(weights @ (q - mean) ** 2), 0.0))
    return float(ndtr(mean / sd)) if sd > 0 else float(mean > 0)


def holds_waiting(shape: Array, scale: Array, weights: Array, longest_seen: float) -> float:
    """Greatest failure over planned cost at which waiting for failure is within 2 % of the best.

    NaN where it is so up to 200. [1]
    """
    reach = max(longest_seen, _FAR * float(weights @ scale))
    ages = reach * np.geomspace(_SMALLEST, 1.0, _N_AGES)
    hazard = (ages / scale[:, None]) ** shape[:, None]
    alive = np.exp(-hazard)
    per_age = weights[:, None] / lived_age(ages, shape, hazard, alive)
    renewals, failures = (per_age * alive).sum(axis=0), (per_age * (1 - alive)).sum(axis=0)
    waiting = float(weights @ (1 / weibull_mean(shape, scale)))
    return _holds((0.0, waiting), renewals, failures, waiting)[1]


def _renewals(age: float, k: Array, eta: Array) -> tuple[Array, Array]:
    """Planned and failure replacements per unit of age of each draw, replaced at an age."""
    from scipy.special import gammainc

    whole = weibull_mean(k, eta)
    if not math.isfinite(age):
        return np.zeros_like(whole), 1 / whole
    hazard = (age / eta) ** k
    lived = whole * gammainc(1 / k, hazard)
    return np.exp(-hazard) / lived, -np.expm1(-hazard) / lived


def _holds(
    own: tuple[float, float], renewals: Array, failures: Array, waiting: float
) -> tuple[float, float]:
    """Ends of the ratios at which an advice is within 2 % of the best, NaN beyond the last one."""
    cost = own[0] + _RATIOS * own[1]
    best = np.minimum((renewals + _RATIOS[:, None] * failures).min(axis=1), _RATIOS * waiting)
    good = np.flatnonzero(cost <= (1 + FLAT) * best)
    if good.size == 0:
        return math.nan, math.nan
    last = math.nan if good[-1] == len(_RATIOS) - 1 else float(_RATIOS[good[-1]])
    return float(_RATIOS[good[0]]), last
