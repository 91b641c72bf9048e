"""Block replacement under what is not known of the law: changed at visits, whatever the age."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.age import check_costs
from dutylife.decisions.age_result import flat_stretch
from dutylife.decisions.age_weibull import checked_draws, refined, weibull_mean

Array = npt.NDArray[np.float64]
_N_STEPS = 200
_MEANS = 3.0  # mean lives: beyond, renewals run all but straight and no optimum is left


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockDraws:
    """Spacing of least expected cost, the stretch within 2 % of it, and its cost.

    All ``inf`` where no spacing costs less than waiting for failure. [age, currency per age]
    """

    interval: float
    lower: float
    upper: float
    cost_rate: float


def block_replacement_weibull(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    *,
    planned_cost: float,
    failure_cost: float,
) -> BlockDraws:
    """Spacing of planned changes with the least expected cost over draws of a Weibull law.

    Parameters
    ----------
    shape, scale, weights : array_like, shape (n_draws,)
        As in `age_replacement_weibull`.
    planned_cost, failure_cost : float
        Of one replacement, all in; the latter above the former. [currency]

    Returns
    -------
    BlockDraws

    Raises
    ------
    DecisionError
        A cost or law that can't be.

    Notes
    -----
    Cost per unit of age (planned + failure M(T)) / T, M the renewal function of each draw: its
    equation stepped over 200 steps to three mean lives, renewals even within a step. A failed
    part is replaced at once; its successor is changed at the next visit too.

    References
    ----------
    Barlow & Proschan (1965), block replacement, from memory; `block_replacement` for one law.

    Examples
    --------
    >>> found = block_replacement_weibull([3.0], [300.0], planned_cost=1.0, failure_cost=5.0)
    >>> round(found.interval)
    145
    """
    check_costs(planned_cost, failure_cost)
    k, eta, w = checked_draws(shape, scale, weights)
    means = weibull_mean(k, eta)
    end = _MEANS * float(w @ means)
    ages = np.linspace(0, end, _N_STEPS + 1)
    failed = -np.expm1(-((ages / eta[:, None]) ** k[:, None]))
    renewals = _renewals(failed)
    mean = (planned_cost + failure_cost * (w @ renewals)[1:]) / ages[1:]
    waiting = failure_cost * float(w @ (1 / means))
    at = int(np.argmin(mean))
    low, high = flat_stretch(ages[1:], mean)
    best, cost = refined(ages[1:], mean, at)
    if at == len(mean) - 1 or cost >= waiting:
        return BlockDraws(interval=math.inf, lower=math.inf, upper=math.inf, cost_rate=waiting)
    return BlockDraws(interval=best, lower=min(low, best), upper=max(high, best), cost_rate=cost)


def _renewals(failed: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Expected renewals by each step from the shares failed by them, shape (n_draws, n_steps)."""
    chance = np.diff(failed, axis=1)
    out = np.zeros_like(failed)
    for i in range(1, failed.shape[1]):
        # a first life that ends in step j leaves i - j + 1/2 steps on average, taken half and half
        later = (out[:, i - 1 :: -1] + np.roll(out, -1, axis=1)[:, i - 1 :: -1]) / 2
        later[:, 0] = out[:, i - 1] / 2  # its other half is what is solved for
        total = failed[:, i] + (chance[:, :i] * later).sum(axis=1)
        out[:, i] = total / (1 - chance[:, 0] / 2)
    return out
