"""Block replacement: everything in place changed at fixed times, failures between put right."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age_result import flat_stretch
from dutylife.decisions.life import Life, life_of
from dutylife.decisions.renewal import (
    chances_by_period,
    renewal_curve,
    renewal_function,
    renewals_by_period,
)
from dutylife.errors import DecisionError
from dutylife.wording import number, percent

Array = npt.NDArray[np.float64]
Between = Literal["replacement", "minimal repair"]
_MEANS = 6.0  # beyond as many mean lives the renewals run straight: no optimum is left
_LARGEST_HAZARD = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockReplacement:
    """Best spacing of block replacements, and the cost curve behind it.

    Parameters
    ----------
    interval, interval_lower, interval_upper : float
        Best spacing and the stretch within 2 % of its cost; all ``inf`` where no planned change
        costs least. [age]
    cost_rate, cost_rate_without : float
        Long-run cost at ``interval``, and without planned changes (missing for minimal repair of
        a part that wears: it grows without end). [currency per unit of age]
    best_interval : float
        Cheapest spacing up to ``longest_interval``, whether or not it pays. [age]
    failures : float
        Expected failures of all units in one ``best_interval``. [1]
    between : str
        "replacement" or "minimal repair".
    intervals, cost_rates, expected_failures : tuple of float
        The curve.
    """

    interval: float
    interval_lower: float
    interval_upper: float
    cost_rate: float
    cost_rate_without: float
    best_interval: float
    failures: float
    between: str
    intervals: tuple[float, ...]
    cost_rates: tuple[float, ...]
    expected_failures: tuple[float, ...]

    @property
    def table(self) -> pd.DataFrame:
        """The curve: interval, expected_failures, cost_rate."""
        return pd.DataFrame(
            {"interval": self.intervals, "expected_failures": self.expected_failures,
             "cost_rate": self.cost_rates}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        if not math.isfinite(self.interval):
            return (
                f"No block replacement: no spacing costs less than {number(self.cost_rate, 4)} per "
                "unit of age without one."
            )
        saved = ""
        if math.isfinite(self.cost_rate_without):
            share = percent(1 - self.cost_rate / self.cost_rate_without)
            saved = f", {share} less than without"
        return (
            f"Replace all every {number(self.interval, 4)} ({number(self.interval_lower)} to "
            f"{number(self.interval_upper)} costs nearly the same), {self.between} of failures "
            f"between: {number(self.cost_rate, 4)} per unit of age{saved}."
        )


def block_replacement(
    life: Any,
    *,
    planned_cost: float,
    failure_cost: float,
    between: Between = "replacement",
    n_units: int = 1,
    visit_cost: float = 0.0,
    planned_time: float = 0.0,
    longest_interval: float | None = None,
    intervals: npt.ArrayLike | None = None,
) -> BlockReplacement:
    """Spacing of planned changes, whatever the age in place, with the lowest long-run cost.

    Parameters
    ----------
    life : Life, fitted law, frozen scipy law, callable or array_like
        As in `renewal_function`; chances to fail in period 1, 2, ... allow whole periods only.
    planned_cost : float
        One planned change of one unit. [currency]
    failure_cost : float
        One failure between: its replacement or, with minimal repair, its repair. [currency]
    between : {"replacement", "minimal repair"}
        A failed unit gets a new part (failures by the renewal function), or is mended as bad as
        old (failures by the cumulative hazard, (t / scale) ** shape for Weibull).
    n_units : int
        Units changed together (group replacement).
    visit_cost : float
        Once per block, whatever the number of units. [currency]
    planned_time : float
        Time a block takes, added to the cycle. For the least downtime give times as costs, this
        equal to ``planned_cost``. [age]
    longest_interval : float, optional
        No spacing beyond it; by default 6 mean lives, or as far as the cost falls with minimal
        repair. [age]
    intervals : array_like, shape (n,), optional
        Spacings at which the curve is wanted. [age]

    Returns
    -------
    BlockReplacement

    Raises
    ------
    DecisionError
        A cost that can't be, a life that can't be read, planned work dearer than a failure
        (replacement between, no group).

    Notes
    -----
    Cost per unit of age = (visit + n (planned + failure x N(T))) / (T + planned_time), N(T) the
    expected failures of a unit within T. The curve may have several dips: all are searched.

    References
    ----------
    Jardine & Tsang, Maintenance, Replacement and Reliability, chapter 2, constant-interval policy
    (from memory); Barlow & Hunter (1960), minimal repair (from memory).

    Examples
    --------
    >>> from scipy.stats import weibull_min
    >>> best = block_replacement(weibull_min(2.5, scale=1000), planned_cost=300, failure_cost=100,
    ...                          between="minimal repair")
    >>> round(best.interval, 3), round(best.cost_rate, 6)
    (1319.508, 0.378929)
    """
    if between not in ("replacement", "minimal repair"):
        raise DecisionError(
            f"'{between}' is not known.", "between", "one of: replacement, minimal repair"
        )
    fixed = _block_cost(planned_cost, failure_cost, n_units, visit_cost, planned_time)
    if longest_interval is not None and not 0 < longest_interval < math.inf:
        raise DecisionError(f"longest_interval is {longest_interval}.", "longest_interval")
    wanted = None if intervals is None else _spacings(intervals)

    def rate(spacing: Array, failures: Array) -> Array:
        spent = fixed + n_units * failure_cost * failures
        return np.asarray(spent / (spacing + planned_time), dtype=float)

    if isinstance(life, list | tuple | np.ndarray | pd.Series):
        if between == "minimal repair":
            raise DecisionError(
                "Minimal repair needs a law of life, not chances by period.", "life",
                "give known_life(...) or a survival function",
            )  # fmt: skip
        grid, failures, without, falling, exact = _in_periods(life, longest_interval)
    else:
        law = life_of(life)
        curve = _by_renewal if between == "replacement" else _by_hazard
        grid, failures, without, falling, exact = curve(law, longest_interval, rate)
    without *= n_units * failure_cost
    on_grid = rate(grid, failures)
    best = float(grid[int(np.argmin(on_grid))])
    if isinstance(life, list | tuple | np.ndarray | pd.Series):
        low, high = flat_stretch(grid, on_grid)
    else:
        best = _refined(lambda t: rate(t, exact(t)), grid, on_grid)
        low, high = flat_stretch(grid, on_grid)
    at_best = exact(np.array([best]))
    cheapest = float(rate(np.array([best]), at_best)[0])
    pays = not falling(best) and not (math.isfinite(without) and cheapest >= without * (1 - 1e-9))
    shown = grid if wanted is None else wanted
    shown_failures = failures if wanted is None else exact(wanted)
    return BlockReplacement(
        interval=best if pays else math.inf,
        interval_lower=min(low, best) if pays else math.inf,
        interval_upper=max(high, best) if pays else math.inf,
        cost_rate=cheapest if pays or not math.isfinite(without) else without,
        cost_rate_without=without,
        best_interval=best,
        failures=float(at_best[0]) * n_units,
        between=between,
        intervals=tuple(shown.tolist()),
        cost_rates=tuple(rate(shown, shown_failures).tolist()),
        expected_failures=tuple((n_units * shown_failures).tolist()),
    )


Curves = tuple[Array, Array, float, Callable[[float], bool], Callable[[Array], Array]]


def _by_renewal(law: Life, longest: float | None, rate: Any) -> Curves:
    """Grid, failures on it, their rate in the long run, is it still falling, exact failures."""
    del rate
    end = longest
    if end is None:
        if not math.isfinite(law.mean):
            raise DecisionError(
                "The life has no mean to search by.", "longest_interval", "state the longest one"
            )
        end = _MEANS * law.mean
    curve = renewal_curve(law, end)
    grid = np.unique(np.concatenate([end * np.geomspace(1e-3, 1, 200), np.linspace(0, end, 401)]))
    grid = grid[grid > 0]
    capped = longest is not None

    def exact(spacing: Array) -> Array:
        return np.array(renewal_function(law, spacing).expected)

    return (
        grid, curve(grid), 1 / law.mean,
        lambda best: not capped and best >= end * (1 - 1e-9), exact,
    )  # fmt: skip


def _by_hazard(law: Life, longest: float | None, rate: Any) -> Curves:
    """As `_by_renewal`, each failure mended as bad as old; widened while the cost falls."""
    end = longest or (law.mean if math.isfinite(law.mean) else 1.0)
    for _ in range(60):
        grid = end * np.geomspace(1e-4, 1, 601)
        failures = law.cumulative_hazard(grid)
        grid, failures = grid[np.isfinite(failures)], failures[np.isfinite(failures)]
        on_grid = rate(grid, failures)
        turned = int(np.argmin(on_grid)) < len(grid) - 1 or len(grid) < 601
        if longest or turned or failures[-1] > _LARGEST_HAZARD:
            break
        end *= 2
    last = int(np.argmin(on_grid)) == len(grid) - 1
    without = float(failures[-1] / grid[-1]) if last and not longest else math.nan
    return (
        grid, failures, without, lambda _best: last and longest is None, law.cumulative_hazard,
    )  # fmt: skip


def _in_periods(life: Any, longest: float | None) -> Curves:
    """As `_by_renewal`, in whole periods."""
    chance = chances_by_period(life, "life")
    n = 6 * len(chance) if longest is None else int(longest)
    if n < 1:
        raise DecisionError("longest_interval is below one period.", "longest_interval")
    total = np.cumsum(renewals_by_period(chance, chance, n))
    sure = abs(chance.sum() - 1) < 1e-9
    mean = float(chance @ np.arange(1, len(chance) + 1)) if sure else math.nan

    def exact(spacing: Array) -> Array:
        return np.array(renewal_function(life, spacing).expected)

    capped = longest is not None
    return (
        np.arange(1.0, n + 1), total, 1 / mean, lambda best: not capped and best >= n, exact,
    )  # fmt: skip


def _refined(rate: Callable[[Array], Array], grid: Array, on_grid: Array) -> float:
    """Best spacing of all dips of the curve."""
    from scipy.optimize import minimize_scalar

    inner = on_grid[1:-1]
    dips = np.flatnonzero((inner <= on_grid[:-2]) & (inner <= on_grid[2:])) + 1
    near = [i for i in dips if on_grid[i] <= on_grid.min() * 1.01]
    found = [(float(on_grid[i]), float(grid[i])) for i in (0, len(grid) - 1)]
    for i in near:
        best = minimize_scalar(
            lambda t: float(rate(np.array([t]))[0]),
            bounds=(grid[i - 1], grid[i + 1]),
            method="bounded",
            options={"xatol": 1e-8 * grid[i]},
        )
        found.append((float(best.fun), float(best.x)))
    return min(found)[1]


def _spacings(intervals: npt.ArrayLike) -> Array:
    given = np.atleast_1d(np.asarray(intervals, dtype=float))
    if given.size == 0 or not np.all((given > 0) & np.isfinite(given)):
        raise DecisionError("Every interval must be positive.", "intervals")
    return given


def _block_cost(planned: float, failure: float, n: int, visit: float, time: float) -> float:
    """Cost of one block without failures; raise where a figure can't be."""
    good = 0 < planned < math.inf and 0 < failure < math.inf
    if not (good and 0 <= visit < math.inf and 0 <= time < math.inf and n >= 1 and n == int(n)):
        raise DecisionError(
            f"planned_cost {planned}, failure_cost {failure}, visit_cost {visit}, planned_time "
            f"{time}, n_units {n} can't be.",
            "block_replacement",
            "costs positive, visit and time 0 or more, a whole number of units",
        )
    return visit + n * planned
