"""How often to look: delay-time inspection intervals, and failure-finding of hidden functions."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age import flat_stretch
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


def share_failing_before_look(interval: npt.ArrayLike, warning_time: float) -> Array:
    """Share of defects that fail before the next look.

    Parameters
    ----------
    interval : array_like, shape (n,)
        Spacing of looks. [unit of age]
    warning_time : float
        Mean time from detectable to failed, exponential. [unit of age]

    Returns
    -------
    ndarray, shape (n,)
        1 - (1 - exp(-aT)) / (aT) with a = 1 / warning_time: defects arise evenly between looks.

    References
    ----------
    Christer & Waller (1984), delay-time modelling.

    Examples
    --------
    >>> share_failing_before_look([10, 20], 20).round(4).tolist()
    [0.2131, 0.3679]
    """
    _positive(warning_time=warning_time)
    x = np.atleast_1d(np.asarray(interval, dtype=float)) / warning_time
    if not np.all(x > 0):
        raise DecisionError("Every interval must be positive.", "interval")
    return np.asarray(1 + np.expm1(-x) / x, dtype=float)


def inspection_interval(
    defect_rate: float,
    warning_time: float,
    *,
    look_cost: float,
    failure_cost: float,
    planned_cost: float = 0.0,
    criterion: Literal["cost", "downtime"] = "cost",
    longest: float = math.inf,
    at: npt.ArrayLike | None = None,
) -> InspectionInterval:
    """Spacing of looks with the least cost, or the least downtime.

    Parameters
    ----------
    defect_rate : float
        Defects per unit of age; 1 / mean life of a part that is looked at. [1 per unit of age]
    warning_time : float
        Mean time from detectable to failed. [unit of age]
    look_cost, failure_cost, planned_cost : float
        One look, one failure, one defect mended when found: money, or time down when
        ``criterion`` is "downtime". [currency or unit of age]
    criterion : {"cost", "downtime"}
        Cost (look + rT (b failure + (1 - b) planned)) / T, or downtime
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

    Examples
    --------
    >>> best = inspection_interval(0.1, 20, look_cost=0.35, failure_cost=0.5, criterion="downtime")
    >>> round(best.interval, 2)
    24.02
    """
    _positive(defect_rate=defect_rate, warning_time=warning_time, look_cost=look_cost)
    _positive(failure_cost=failure_cost)
    if planned_cost < 0 or not longest > 0:
        raise DecisionError(
            f"planned_cost {planned_cost} and longest {longest} must not be negative.",
            "inspection_interval",
        )

    def rate(spacing: Array) -> Array:
        failing = share_failing_before_look(spacing, warning_time)
        mended = failing * failure_cost + (1 - failing) * planned_cost
        length = spacing if criterion == "cost" else spacing + look_cost
        return np.asarray((look_cost + defect_rate * spacing * mended) / length, dtype=float)

    end = min(longest, 50 * warning_time)
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
        share_failing=float(share_failing_before_look(best, warning_time)[0]),
        at_limit=at_limit,
        criterion=criterion,
        intervals=tuple(given.tolist()),
        rates=tuple(rate(given).tolist()),
    )


def failure_finding_interval(
    availability: npt.ArrayLike, mean_time_to_fail: float, *, exact: bool = False
) -> float | Array:
    """Spacing of tests of a hidden function that keeps its mean availability.

    Parameters
    ----------
    availability : array_like
        Share of time the function is wanted ready. [1]
    mean_time_to_fail : float
        Mean time to fail of the device. [unit of age]
    exact : bool
        First order, 2 (1 - availability) x mean time to fail (good above about 95 %), or the root
        of the exact mean availability of a device that fails at a constant rate.

    Returns
    -------
    float or ndarray
        Spacing, in the unit of ``mean_time_to_fail``.

    Raises
    ------
    DecisionError
        An availability outside (0, 1) or a mean time that is not positive.

    References
    ----------
    "RCM - A Practical Guide", p. 45.

    Examples
    --------
    >>> round(failure_finding_interval(0.99, 10.0), 6)
    0.2
    """
    from scipy.optimize import brentq

    _positive(mean_time_to_fail=mean_time_to_fail)
    wanted = np.asarray(availability, dtype=float)
    if not np.all((wanted > 0) & (wanted < 1)):
        raise DecisionError("Availability must lie between 0 and 1.", "availability")
    share = 2 * (1 - wanted)
    if exact:

        def one(target: float) -> float:
            # mean availability over a spacing of x mean lives is (1 - exp(-x)) / x
            return float(brentq(lambda x: -math.expm1(-x) / x - target, 1e-12, 2 / target + 10))

        share = np.vectorize(one, otypes=[float])(wanted)
    out = share * mean_time_to_fail
    return float(out) if wanted.ndim == 0 else np.asarray(out, dtype=float)


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
