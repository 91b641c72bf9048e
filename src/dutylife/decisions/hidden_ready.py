"""How ready a hidden function is on average when tested at a spacing, solved exactly."""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from dutylife.decisions.life import Life
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]


def mean_ready(
    law: Life, n: int, needed: int, test_time: float, repair_time: float
) -> Callable[[float], float]:
    """Exact mean availability as a function of the spacing."""
    from scipy.special import bdtr

    def works(age: Array) -> Array:
        # at least `needed` of n work: at most n - needed have failed
        return np.asarray(bdtr(n - needed, n, np.clip(law.failed(age), 0, 1)), dtype=float)

    whole = Life(survival=works, cumulative_hazard=works, mean=law.mean, sd=law.sd, name="system")

    def ready(spacing: float) -> float:
        found = float(law.failed(np.array([spacing]))[0]) if repair_time else 0.0
        cycle = spacing + test_time + repair_time * found
        return float(whole.lived(spacing)[0]) / cycle

    return ready


def longest_spacing(ready: Callable[[float], float], target: float, mean: float) -> float:
    """Longest spacing with the wanted mean availability."""
    from scipy.optimize import brentq

    top = best_spacing(lambda t: -ready(t), mean)
    if ready(top) < target:
        raise DecisionError(
            f"No spacing reaches an availability of {target:.6g}; the highest is {ready(top):.6g}.",
            "availability", "a lower goal, a shorter test_time, or more devices",
        )  # fmt: skip
    end = max(top, mean * 1e-6)
    while ready(end) > target:
        end *= 2
    return float(brentq(lambda t: ready(t) - target, top, end, xtol=1e-14 * mean, rtol=1e-13))


def best_spacing(cost: Callable[[float], float], mean: float) -> float:
    """Spacing with the least cost, by a scan of ten decades and a bounded search."""
    from scipy.optimize import minimize_scalar

    grid = mean * np.geomspace(1e-8, 1e2, 201)
    values = [cost(float(t)) for t in grid]
    at = int(np.argmin(values))
    if at == 0:
        return float(grid[0])
    found = minimize_scalar(
        lambda x: cost(math.exp(x)),
        bounds=(math.log(grid[at - 1]), math.log(grid[min(at + 1, 200)])),
        method="bounded",
        options={"xatol": 1e-10},
    )
    return math.exp(float(found.x))
