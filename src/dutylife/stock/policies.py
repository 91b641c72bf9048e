"""Textbook stock rules on samples or a distribution of demand, each checked against its source."""

import math
from collections.abc import Callable
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
Measure = Literal["fill rate", "ready rate"]


def service(samples: npt.ArrayLike, level: float) -> tuple[float, float]:
    """Fill rate and ready rate of a level against samples of demand.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Demand over lead time plus review. [pieces]
    level : float
        Pieces on the shelf and on order at the start. [pieces]

    Returns
    -------
    tuple of float
        Share of the pieces asked for that the level gives, and chance of no shortage; both 1
        where nothing is asked for. [1]

    Examples
    --------
    >>> service([0, 1, 2, 5], 2)
    (0.625, 0.75)
    """
    demand = _samples(samples)
    asked = float(demand.mean())
    short = float(np.maximum(demand - level, 0).mean())
    return (1 - short / asked if asked > 0 else 1.0), float((demand <= level).mean())


def base_stock(
    demand: npt.ArrayLike,
    service_level: float,
    measure: Measure = "fill rate",
    *,
    is_distribution: bool = False,
) -> int:
    """Smallest level that reaches a service level.

    Parameters
    ----------
    demand : array_like, shape (n,)
        Samples of the demand over lead time plus review [pieces]; with ``is_distribution``, the
        probability of 0, 1, 2, ... pieces [1].
    service_level : float
        Wanted service, between 0 and 1. [1]
    measure : {"fill rate", "ready rate"}
        Share of pieces asked for that the shelf gives, or chance of no shortage.
    is_distribution : bool
        Read ``demand`` as probabilities.

    Returns
    -------
    int
        [pieces]

    Raises
    ------
    DecisionError
        A service level outside (0, 1), no demand given, a negative demand, probabilities that do
        not sum to 1, or an unknown measure.

    Examples
    --------
    >>> base_stock([0, 1, 2, 5], 0.75, "ready rate"), base_stock([0, 1, 2, 5], 0.75)
    (2, 3)
    """
    if not 0 < service_level < 1:
        raise DecisionError(f"service_level must lie in (0, 1), it is {service_level}.")
    if measure not in ("fill rate", "ready rate"):
        raise DecisionError(f"'{measure}' is no service measure.", mend="fill rate or ready rate")
    chance = _probabilities(demand) if is_distribution else _histogram(_samples(demand))
    ready = np.cumsum(chance)
    if measure == "ready rate":
        served = ready
    else:
        pieces = np.arange(len(chance))
        asked = float(chance @ pieces)
        if asked == 0:
            return 0
        # expected shortage falls by the chance of asking for more at each further piece
        short = asked - np.concatenate([[0.0], np.cumsum(1 - ready)[:-1]])
        served = 1 - short / asked
    enough = np.flatnonzero(served >= service_level - 1e-12)
    return int(enough[0]) if enough.size else len(chance) - 1


def order_quantity(
    demand_per_year: float, order_cost: float, unit_cost: float, holding_rate: float
) -> float:
    """Economic order quantity.

    Parameters
    ----------
    demand_per_year : float
        [pieces per year]
    order_cost : float
        Cost of placing one order. [currency]
    unit_cost : float
        What a piece costs the shop. [currency]
    holding_rate : float
        Yearly cost of holding as a share of the piece's cost. [1 per year]

    Returns
    -------
    float
        sqrt(2 x demand x order cost / (holding rate x unit cost)). [pieces]

    Raises
    ------
    DecisionError
        A figure that is not positive.

    References
    ----------
    Harris (1913), from memory.

    Examples
    --------
    >>> order_quantity(1200, 10, 6, 0.25)
    126.49110640673517
    """
    _positive(demand_per_year=demand_per_year, order_cost=order_cost)
    _positive(unit_cost=unit_cost, holding_rate=holding_rate)
    return math.sqrt(2 * demand_per_year * order_cost / (holding_rate * unit_cost))


def newsvendor(
    demand: npt.ArrayLike | Callable[[float], Any], underage_cost: float, overage_cost: float
) -> float:
    """Pieces to buy once for a season.

    Parameters
    ----------
    demand : array_like, shape (n,), or callable
        Samples of the season's demand [pieces], or its quantile function.
    underage_cost, overage_cost : float
        Cost of one piece too few, of one too many. [currency]

    Returns
    -------
    float
        The demand that is not exceeded with chance under / (under + over): of samples the
        smallest that reaches it. [pieces]

    Raises
    ------
    DecisionError
        A cost that is not positive, or no samples.

    Examples
    --------
    >>> newsvendor(range(1, 101), 3.0, 1.0)
    75.0
    """
    _positive(underage_cost=underage_cost, overage_cost=overage_cost)
    wanted = underage_cost / (underage_cost + overage_cost)
    if callable(demand):
        return float(demand(wanted))
    return float(np.quantile(_samples(demand), wanted, method="inverted_cdf"))


def _samples(samples: npt.ArrayLike) -> Array:
    demand = np.asarray(list(samples) if isinstance(samples, range) else samples, dtype=float)
    if demand.ndim != 1 or demand.size == 0 or not np.all(demand >= 0):
        raise DecisionError("Demand must be a list of pieces, none negative.", "samples")
    return demand


def _histogram(demand: Array) -> Array:
    return np.asarray(np.bincount(np.ceil(demand).astype(int)) / len(demand), dtype=float)


def _probabilities(demand: npt.ArrayLike) -> Array:
    chance = np.asarray(demand, dtype=float)
    if chance.ndim != 1 or np.any(chance < 0) or abs(chance.sum() - 1) > 1e-6:
        raise DecisionError("Probabilities must be a list that sums to 1.", "demand")
    return np.asarray(chance / chance.sum(), dtype=float)


def _positive(**given: float) -> None:
    bad = [f"{name} = {value}" for name, value in given.items() if not 0 < value < math.inf]
    if bad:
        raise DecisionError(
            "Must be positive and finite: " + ", ".join(bad) + ".", ", ".join(given)
        )
