"""Age replacement in whole periods, from the chances to fail in each."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.decisions.age_result import AgeReplacement, flat_stretch
from dutylife.decisions.renewal import chances_by_period
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]


def by_period(
    life: Any,
    planned_cost: float,
    failure_cost: float,
    planned_time: float,
    failure_time: float,
    longest_age: float | None,
    ages: npt.ArrayLike | None,
) -> AgeReplacement:
    """Best whole age: cost (planned S(T) + failure (1 - S(T))) / (S(0) + ... + S(T - 1) + times).

    Parameters
    ----------
    life : array_like, shape (n,)
        Chance to fail in period 1, 2, ... n.
    planned_cost, failure_cost, planned_time, failure_time, longest_age, ages
        As in `dutylife.decisions.age_replacement`, ages in whole periods.
    """
    chance = chances_by_period(life, "life")
    if abs(chance.sum() - 1) > 1e-9:
        raise DecisionError(
            f"Chances to fail by period sum to {chance.sum():.6g}.", "life",
            "add the chance of all later periods, so that they sum to 1",
        )  # fmt: skip
    alive = np.clip(1 - np.concatenate([[0.0], np.cumsum(chance)]), 0.0, 1.0)
    alive[alive < 1e-12] = 0.0
    n = len(chance) if longest_age is None else min(int(longest_age), len(chance))
    given = np.arange(1.0, n + 1) if ages is None else np.atleast_1d(np.asarray(ages, dtype=float))
    good = n >= 1 and np.all((given >= 1) & (given <= len(chance)) & (given == np.floor(given)))
    if not good:
        raise DecisionError(
            f"Ages must be whole periods from 1 to {len(chance)}.",
            "ages, longest_age",
            "round them",
        )
    lived = np.cumsum(alive[:-1])

    def rate(at: Array) -> Array:
        left = alive[at.astype(int)]
        spent = planned_cost * left + failure_cost * (1 - left)
        out = planned_time * left + failure_time * (1 - left)
        return np.asarray(spent / (lived[at.astype(int) - 1] + out), dtype=float)

    net = np.arange(1.0, n + 1)
    rates = rate(net)
    best = float(net[int(np.argmin(rates))])
    low, high = flat_stretch(net, rates)
    to_failure = failure_cost / (float(lived[-1]) + failure_time)
    cheapest = float(rates.min())
    left_at_best = float(alive[int(best)])
    beyond = bool(best == n and left_at_best > 0)
    pays = left_at_best > 0 and not beyond and cheapest < to_failure
    return AgeReplacement(
        interval=best if pays else math.inf,
        interval_lower=low if pays else math.inf,
        interval_upper=high if pays else math.inf,
        cost_rate=cheapest if pays else to_failure,
        cost_rate_run_to_failure=to_failure,
        best_age=best,
        beyond_seen=beyond,
        ages=tuple(given.tolist()),
        cost_rates=tuple(rate(given).tolist()),
    )
