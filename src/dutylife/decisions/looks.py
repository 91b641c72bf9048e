"""How often to look: delay-time inspection intervals."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age_result import flat_stretch
from dutylife.decisions.life import Life, life_of
from dutylife.errors import DecisionError
from dutylife.wording import inspection_text

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionInterval:
    """Best spacing of looks.

    Parameters
    ----------
    interval, interval_lower, interval_upper : float
        Best spacing and the stretch within 2 % of its cost; unit of age.
    rate, rate_without_looking : float
        Cost per unit of age, or share of time down, at ``interval`` and without any look.
    share_failing : float
        Share of defects that fail before the next look. [1]
    at_limit : bool
        The best spacing is the longest that was allowed.
    criterion : str
        "cost" or "downtime".
    intervals, rates : tuple of float
        The curve.
    """

    interval: float
    interval_lower: float
    interval_upper: float
    rate: float
    rate_without_looking: float
    share_failing: float
    at_limit: bool
    criterion: str
    intervals: tuple[float, ...]
    rates: tuple[float, ...]

    @property
    def table(self) -> pd.DataFrame:
        """The curve: interval, rate."""
        return pd.DataFrame({"interval": self.intervals, "rate": self.rates})

    @property
    def text(self) -> str:
        """One sentence."""
        return inspection_text(self.interval, self.share_failing, self.rate, self.criterion)


def share_failing_before_look(
    interval: npt.ArrayLike, warning_time: Any, *, detection: float = 1.0
) -> Array:
    """Share of defects that fail before a look finds them.

    Parameters
    ----------
    interval : array_like, shape (n,)
        Spacing of looks. [unit of age]
    warning_time : float, Life, fitted law, frozen scipy law or callable
        Time from detectable to failed: the mean of an exponential one, or its law. [unit of age]
    detection : float
        Chance that one look finds a defect that is there; 1 for perfect looks. [1]

    Returns
    -------
    ndarray, shape (n,)
        1 - sum over looks n = 1, 2, ... of r (1 - r) ** (n - 1) x the integral of the delay's
        survival over the n-th interval / T, r the detection: defects arise evenly between looks.
        With perfect looks and an exponential delay 1 - (1 - exp(-aT)) / (aT), a = 1 / warning_time.

    Raises
    ------
    DecisionError
        An interval, a time or a detection that can't be.

    References
    ----------
    Christer & Waller (1984), delay-time modelling; imperfect looks from memory.

    Examples
    --------
    >>> share_failing_before_look([10, 20], 20).round(4).tolist()
    [0.2131, 0.3679]
    >>> share_failing_before_look([10, 20], 20, detection=0.8).round(4).tolist()
    [0.2835, 0.4541]
    """
    spacing = np.atleast_1d(np.asarray(interval, dtype=float))
    if not np.all(spacing > 0):
        raise DecisionError("Every interval must be positive.", "interval")
    if not 0 < detection <= 1:
        raise DecisionError(
            f"A detection of {detection} can't be.", "detection", "above 0, at most 1 (perfect)"
        )
    if isinstance(warning_time, int | float | np.number):
        _positive(warning_time=float(warning_time))
        x = spacing / float(warning_time)
        missed = 1 - (1 - detection) * np.exp(-x)
        return np.asarray(1 + detection * np.expm1(-x) / x / missed, dtype=float)
    law = life_of(warning_time)
    looks = _looks_that_count(law, float(spacing.min()), detection)
    lived = law.lived(spacing[:, None] * np.arange(1, looks + 1))
    between = np.diff(lived, axis=1, prepend=0.0)
    chance = detection * (1 - detection) ** np.arange(looks)
    return np.asarray(np.clip(1 - (between @ chance) / spacing, 0.0, 1.0), dtype=float)


def _looks_that_count(law: Life, spacing: float, detection: float) -> int:
    """Looks after which a defect is found or failed but for 1 in 10 ** 12; at most 400."""
    if detection == 1:
        return 1
    by_looks = math.ceil(-12 * math.log(10) / math.log1p(-detection))
    for n in (4, 16, 64):
        if n < by_looks and float(law.survival(np.array([n * spacing]))[0]) < 1e-13:
            return n
    return min(by_looks, 400)


def inspection_interval(
    defect_rate: float,
    warning_time: Any,
    *,
    look_cost: float,
    failure_cost: float,
    planned_cost: float = 0.0,
    detection: float = 1.0,
    criterion: Literal["cost", "downtime"] = "cost",
    longest: float = math.inf,
    at: npt.ArrayLike | None = None,
) -> InspectionInterval:
    """Spacing of looks with the least cost, or the least downtime.

    Parameters
    ----------
    defect_rate : float
        Defects per unit of age; 1 / mean life of a part that is looked at. [1 per unit of age]
    warning_time : float, Life, fitted law, frozen scipy law or callable
        Time from detectable to failed: the mean of an exponential one, or its law. [unit of age]
    look_cost, failure_cost, planned_cost : float
        One look, one failure, one defect mended when found: money, or time down when
        ``criterion`` is "downtime". [currency or unit of age]
    detection : float
        Chance that one look finds a defect that is there; 1 for perfect looks. [1]
    criterion : {"cost", "downtime"}
        Sources differ in the cycle: with "cost" looks take no time, with "downtime" a cycle is
        the spacing and the look. Cost (look + rT (b failure + (1 - b) planned)) / T, or downtime
        (look + rT (b failure + (1 - b) planned)) / (T + look).
    longest : float
        No spacing beyond it; without one, 50 warning times.
    at : array_like, shape (n,), optional
        Spacings at which the curve is wanted.

    Returns
    -------
    InspectionInterval

    Raises
    ------
    DecisionError
        A rate, time or cost that can't be.

    References
    ----------
    D(T) = (d + k T b(T) f) / (T + d), Christer & Waller (1984).

    See Also
    --------
    share_failing_before_look : b(T), also for looks that miss defects.

    Examples
    --------
    >>> best = inspection_interval(0.1, 20, look_cost=0.35, failure_cost=0.5, criterion="downtime")
    >>> round(best.interval, 2)
    24.02
    """
    _positive(defect_rate=defect_rate, look_cost=look_cost, failure_cost=failure_cost)
    if criterion not in ("cost", "downtime"):
        raise DecisionError(f"'{criterion}' is not known.", "criterion", "cost or downtime")
    delay = warning_time
    if isinstance(warning_time, int | float | np.number):
        mean = float(warning_time)
        _positive(warning_time=mean)
    else:
        delay = life_of(warning_time)
        mean = delay.mean
    if planned_cost < 0 or not longest > 0:
        raise DecisionError(
            f"planned_cost {planned_cost} and longest {longest} must not be negative.",
            "inspection_interval",
        )

    def rate(spacing: Array) -> Array:
        failing = share_failing_before_look(spacing, delay, detection=detection)
        mended = failing * failure_cost + (1 - failing) * planned_cost
        length = spacing if criterion == "cost" else spacing + look_cost
        return np.asarray((look_cost + defect_rate * spacing * mended) / length, dtype=float)

    end = min(longest, 50 * mean)
    grid = end * np.geomspace(1e-3, 1.0, 241)
    on_grid = rate(grid)
    best, at_limit = _cheapest(rate, grid, on_grid)
    low, high = flat_stretch(grid, on_grid)
    given = grid[::10] if at is None else np.atleast_1d(np.asarray(at, dtype=float))
    return InspectionInterval(
        interval=best,
        interval_lower=min(low, best),
        interval_upper=max(high, best),
        rate=float(rate(np.array([best]))[0]),
        rate_without_looking=defect_rate * failure_cost,
        share_failing=float(share_failing_before_look(best, delay, detection=detection)[0]),
        at_limit=at_limit,
        criterion=criterion,
        intervals=tuple(given.tolist()),
        rates=tuple(rate(given).tolist()),
    )


def _cheapest(rate: Callable[[Array], Array], grid: Array, on_grid: Array) -> tuple[float, bool]:
    from scipy.optimize import minimize_scalar

    at = int(np.argmin(on_grid))
    if at in (0, len(grid) - 1):
        return float(grid[at]), at > 0
    found = minimize_scalar(
        lambda t: float(rate(np.array([t]))[0]),
        bounds=(grid[at - 1], grid[at + 1]),
        method="bounded",
        options={"xatol": 1e-10 * grid[at]},
    )
    return float(found.x), False


def _positive(**given: float) -> None:
    bad = [f"{name} = {value}" for name, value in given.items() if not 0 < value < math.inf]
    if bad:
        raise DecisionError(
            "Must be positive and finite: " + ", ".join(bad) + ".", ", ".join(given)
        )
