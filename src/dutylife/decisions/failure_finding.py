"""Failure finding: how often to test a hidden function that nobody misses until it is needed."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.hidden_ready import best_spacing, longest_spacing, mean_ready
from dutylife.decisions.life import Life, known_life, life_of
from dutylife.errors import DecisionError
from dutylife.wording import number, percent

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureFindingInterval:
    """Spacing of tests of a hidden function.

    Parameters
    ----------
    interval : float or ndarray
        Spacing, shaped as the availability asked for. [age]
    availability : float or ndarray
        Mean share of time the function is ready at that spacing: the one asked for, or the one
        that follows. [1]
    mean_time_to_fail : float
        Of one device. [age]
    share : float or ndarray
        ``interval`` / ``mean_time_to_fail``. [1]
    exact : bool
        Solved for the exact mean availability, not by the first-order formula.
    basis : str
        What the spacing comes from: "availability", "multiple failures", "cost" or "most ready".
    mean_time_between_multiple_failures : float or ndarray
        Mean time between demands that find the function failed; missing without demands. [age]
    """

    interval: Any
    availability: Any
    mean_time_to_fail: float
    share: Any
    exact: bool
    basis: str
    mean_time_between_multiple_failures: Any

    @property
    def table(self) -> pd.DataFrame:
        """Columns availability, interval, share, mean_time_between_multiple_failures."""
        ready, spacing, share, apart = np.broadcast_arrays(
            *(np.atleast_1d(x) for x in (self.availability, self.interval, self.share,
                                         self.mean_time_between_multiple_failures))
        )  # fmt: skip
        return pd.DataFrame(
            {"availability": ready, "interval": spacing, "share": share,
             "mean_time_between_multiple_failures": apart}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        row = self.table.iloc[0]
        return (
            f"Test every {number(row['interval'], 4)} ({percent(row['share'])} of the mean time to "
            f"fail): ready {number(100 * row['availability'], 4)} % of the time on average. The "
            "maker's manual and the law stand above this."
        )


def failure_finding_interval(
    availability: npt.ArrayLike | None = None,
    mean_time_to_fail: float | None = None,
    *,
    unavailability: npt.ArrayLike | None = None,
    life: Any = None,
    mean_time_between_demands: float | None = None,
    mean_time_between_multiple_failures: npt.ArrayLike | None = None,
    n_devices: int = 1,
    n_needed: int = 1,
    test_cost: float | None = None,
    multiple_failure_cost: float | None = None,
    test_time: float = 0.0,
    repair_time: float = 0.0,
    exact: bool = False,
) -> FailureFindingInterval:
    """Spacing of tests of a hidden function: from what is wanted of it, or from what it costs.

    Parameters
    ----------
    availability : array_like, optional
        Share of time the function is wanted ready. [1]
    mean_time_to_fail : float
        Mean time to fail of one device: device-time over failures found; not needed with
        ``life``. [unit of age]
    unavailability : array_like, optional
        1 - availability, instead of it. [1]
    life : Life, fitted law, frozen scipy law or callable, optional
        Law of life of one device; exponential by default. With it the answer is exact.
    mean_time_between_demands : float, optional
        Mean time between events that need the function. [unit of age]
    mean_time_between_multiple_failures : array_like, optional
        Tolerated mean time between demands that find the function failed; the unavailability
        allowed is mean_time_between_demands / it. [unit of age]
    n_devices, n_needed : int
        Like devices tested together, of which ``n_needed`` must work.
    test_cost, multiple_failure_cost : float, optional
        Cost of one test, of one demand met by a failed function; with
        ``mean_time_between_demands`` the spacing costs least. [currency]
    test_time, repair_time : float
        Time out of service for each test, and more for each failure found; with neither a wanted
        availability nor costs, the spacing with the highest availability. [unit of age]
    exact : bool
        By default first order in spacing / mean time to fail: 2 x unavailability x mean time to
        fail for one device (good above about 95 %). True: the root of the exact mean availability.

    Returns
    -------
    FailureFindingInterval

    Raises
    ------
    DecisionError
        Nothing or too much to go by, a share outside (0, 1), or a time or cost that is not
        positive, or an availability that no spacing reaches.

    Notes
    -----
    First order, n devices of which k work: with j = n - k + 1 failures the function is lost,
    unavailability = C(n, j) (T / M) ** j / (j + 1); for n devices in parallel T = M ((n + 1) U)
    ** (1 / n). Least cost of one device: T = sqrt(2 M x demand time x test cost / failure cost).
    Exact: 1 - the mean over a spacing of the chance that at least k devices work; with
    times out of service, of a cycle of T + test_time + repair_time x (share failed by T).

    References
    ----------
    "RCM - A Practical Guide", pp. 44-45 (2 x Mtive x Mted / Mmf; table of shares); SAE JA1012;
    parallel devices and least cost as in Moubray, Reliability-centred Maintenance, from memory;
    highest availability with times as in Jardine & Tsang, chapter 3, from memory.

    Examples
    --------
    >>> round(failure_finding_interval(0.99, 10.0).interval, 6)
    0.2
    >>> round(failure_finding_interval(mean_time_to_fail=100, mean_time_between_demands=50,
    ...                                mean_time_between_multiple_failures=10000).interval, 6)
    1.0
    """
    law = _law(mean_time_to_fail, life)
    _counts(n_devices, n_needed)
    _times(test_time, repair_time)
    exact = exact or life is not None or test_time > 0 or repair_time > 0
    ready = mean_ready(law, n_devices, n_needed, test_time, repair_time)
    lost = n_devices - n_needed + 1
    ways = math.comb(n_devices, lost)
    demands = _maybe_positive("mean_time_between_demands", mean_time_between_demands)
    goals = {
        "availability": availability is not None or unavailability is not None,
        "multiple failures": mean_time_between_multiple_failures is not None,
        "cost": test_cost is not None or multiple_failure_cost is not None,
    }
    stated = [name for name, on in goals.items() if on]
    if len(stated) > 1 or (availability is not None and unavailability is not None):
        raise DecisionError(
            "More than one goal was given.", "failure_finding_interval",
            "one of availability, unavailability, mean_time_between_multiple_failures, costs",
        )  # fmt: skip
    basis = stated[0] if stated else "most ready"
    if basis == "most ready":
        if not test_time > 0:
            raise DecisionError(
                "There is no goal to space the tests by.", "failure_finding_interval",
                "give availability, mean_time_between_multiple_failures, costs, or test_time",
            )  # fmt: skip
        spacing = np.asarray(best_spacing(lambda t: -ready(t), law.mean))
    elif basis == "cost":
        spacing = np.asarray(
            _cheapest(
                ready, law.mean, demands, test_cost, multiple_failure_cost, lost, ways, exact=exact
            )
        )
    else:
        allowed = _allowed(
            availability, unavailability, demands, mean_time_between_multiple_failures
        )
        if exact:
            spacing = np.vectorize(
                lambda u: longest_spacing(ready, 1 - u, law.mean), otypes=[float]
            )(allowed)
        else:
            spacing = law.mean * (allowed * (lost + 1) / ways) ** (1 / lost)
    if exact:
        reached = np.vectorize(ready, otypes=[float])(spacing)
    else:
        reached = 1 - ways * (spacing / law.mean) ** lost / (lost + 1)
    apart = np.full(spacing.shape, np.nan) if demands is None else demands / (1 - reached)
    return FailureFindingInterval(
        interval=_plain(spacing),
        availability=_plain(reached),
        mean_time_to_fail=law.mean,
        share=_plain(spacing / law.mean),
        exact=exact,
        basis=basis,
        mean_time_between_multiple_failures=_plain(apart),
    )


def _law(mean: float | None, life: Any) -> Life:
    if life is not None:
        return life_of(life)
    if mean is None or not 0 < mean < math.inf:
        raise DecisionError(
            f"mean_time_to_fail must be positive and finite, it is {mean}.", "mean_time_to_fail",
            "device-time over failures found, or give life=",
        )  # fmt: skip
    return known_life("exponential", mean=mean)


def _allowed(
    availability: npt.ArrayLike | None,
    unavailability: npt.ArrayLike | None,
    demands: float | None,
    apart: npt.ArrayLike | None,
) -> Array:
    if apart is not None:
        if demands is None:
            raise DecisionError(
                "A time between multiple failures needs a time between demands.",
                "mean_time_between_demands", "state how far apart the demands are",
            )  # fmt: skip
        with np.errstate(divide="ignore"):
            allowed = demands / np.asarray(apart, dtype=float)
        named = "mean_time_between_multiple_failures"
    elif availability is not None:
        allowed, named = 1 - np.asarray(availability, dtype=float), "availability"
    else:
        allowed, named = np.asarray(unavailability, dtype=float), "unavailability"
    if not np.all((allowed > 0) & (allowed < 1)):
        raise DecisionError(
            "The availability this asks for must lie between 0 and 1.", named,
            "more than the time between demands" if apart is not None else "0.95, say",
        )  # fmt: skip
    return allowed


def _cheapest(
    ready: Callable[[float], float],
    mean: float,
    demands: float | None,
    test: float | None,
    failure: float | None,
    lost: int,
    ways: int,
    *,
    exact: bool,
) -> float:
    if demands is None or test is None or failure is None or not (test > 0 and failure > 0):
        raise DecisionError(
            "The least cost needs three positive figures.",
            "test_cost, multiple_failure_cost, mean_time_between_demands", "state all three",
        )  # fmt: skip
    if exact:
        return best_spacing(lambda t: test / t + failure / demands * (1 - ready(t)), mean)
    # test / T + (failure / demands) ways (T / M) ** j / (j + 1) is least where its slope is 0
    rise = failure / demands * ways * lost / (lost + 1) / mean**lost
    return float((test / rise) ** (1 / (lost + 1)))


def _counts(n: int, needed: int) -> None:
    if not (n >= 1 and 1 <= needed <= n and n == int(n) and needed == int(needed)):
        raise DecisionError(
            f"{needed} of {n} devices can't be.",
            "n_devices, n_needed",
            "1 <= n_needed <= n_devices",
        )


def _times(test: float, repair: float) -> None:
    if not (0 <= test < math.inf and 0 <= repair < math.inf):
        raise DecisionError(
            f"Times must be 0 or more: test {test}, repair {repair}.", "test_time, repair_time"
        )


def _maybe_positive(name: str, value: float | None) -> float | None:
    if value is not None and not 0 < value < math.inf:
        raise DecisionError(f"{name} must be positive and finite, it is {value}.", name)
    return value


def _plain(values: Array) -> Any:
    return float(values) if np.ndim(values) == 0 else np.asarray(values, dtype=float)
