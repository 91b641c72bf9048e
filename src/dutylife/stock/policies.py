"""Base stock: the level that serves a demand, and what a level gives."""

import math
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_of
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.wording import number

Array = npt.NDArray[np.float64]
Measure = Literal["fill rate", "ready rate", "immediate fill rate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseStock:
    """A level and what it gives.

    Parameters
    ----------
    level : float
        Pieces on the shelf and on order; a whole number where demand comes in whole pieces.
    fill_rate : float
        1 - expected shortage / mean demand: share of pieces asked for over the span. [1]
    ready_rate : float
        Chance that demand does not exceed the level, P(D <= level). [1]
    immediate_fill_rate : float
        Chance that the next piece asked for is there, P(D <= level - 1): demand one at a time
        (Poisson) against the pieces in the pipeline. [1]
    backorders, on_hand : float
        Expected pieces owed, E(D - level)+, and left, E(level - D)+. [pieces]
    mean : float
        Mean demand over the span: the pipeline. [pieces]
    levels : tuple of tuple of float
        Rows of the table.
    """

    level: float
    fill_rate: float
    ready_rate: float
    immediate_fill_rate: float
    backorders: float
    on_hand: float
    mean: float
    levels: tuple[tuple[float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """Level, ready_rate, immediate_fill_rate, fill_rate, backorders, from 0 on."""
        return pd.DataFrame(
            self.levels,
            columns=["level", "ready_rate", "immediate_fill_rate", "fill_rate", "backorders"],
        )

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Hold {number(self.level, 4)} against a mean demand of {number(self.mean)}: "
            f"{number(100 * self.fill_rate, 4)} % of pieces asked for are given, "
            f"{number(100 * self.ready_rate, 4)} % of times nothing is short."
        )


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
    demand: Any,
    service_level: float | None = None,
    measure: Measure = "fill rate",
    *,
    is_distribution: bool = False,
    level: float | None = None,
    backorders: float | None = None,
) -> BaseStock:
    """Smallest level that reaches a service level, or the service of a given level.

    Spares for a life time or a mission: ``demand`` is the demand over all of it; for one position
    of a part that wears, the chances of `dutylife.decisions.renewal_counts`.

    Parameters
    ----------
    demand : array_like, shape (n,), DemandLaw or frozen scipy law
        Samples of the demand over lead time plus review [pieces]; with ``is_distribution``, the
        probability of 0, 1, 2, ... pieces [1]; or a law (`demand_law`). Of Poisson demand with
        repair or lead times of any law the pipeline is Poisson, mean = rate x mean time (Palm).
    service_level : float, optional
        Wanted service, between 0 and 1. [1]
    measure : {"fill rate", "ready rate", "immediate fill rate"}
        Share of pieces asked for over the span that the shelf gives; chance of no shortage,
        P(D <= level); chance that the next piece is there, P(D <= level - 1). Sources call each
        of the last two a fill rate or a ready rate.
    is_distribution : bool
        Read ``demand`` as probabilities.
    level : float, optional
        Instead of a service level: the level to evaluate. [pieces]
    backorders : float, optional
        Instead of a service level: expected pieces owed must not exceed it. [pieces]

    Returns
    -------
    BaseStock

    Raises
    ------
    DecisionError
        Not exactly one goal, a service level outside (0, 1), no demand given, a negative demand,
        probabilities that do not sum to 1, or an unknown measure.

    References
    ----------
    Feeney & Sherbrooke (1966); Sherbrooke, Optimal Inventory Modeling of Systems, chapter 2 (from
    memory).

    Examples
    --------
    >>> base_stock([0, 1, 2, 5], 0.75, "ready rate").level, base_stock([0, 1, 2, 5], 0.75).level
    (2, 3)
    """
    if sum(x is not None for x in (service_level, level, backorders)) != 1:
        raise DecisionError(
            "Exactly one goal is needed.", "service_level, level, backorders",
            "give the service wanted, or the level to evaluate, or the backorders allowed",
        )  # fmt: skip
    if measure not in get_args(Measure):
        raise DecisionError(
            f"'{measure}' is no service measure.", "measure", ", ".join(get_args(Measure))
        )
    if service_level is not None and not 0 < service_level < 1:
        raise DecisionError(
            f"service_level must lie in (0, 1), it is {service_level}.",
            "service_level",
            "0.95, say",
        )
    is_law = isinstance(demand, DemandLaw) or hasattr(demand, "ppf")
    law = demand_of(demand, is_distribution=is_distribution)
    if level is not None:
        if not 0 <= level < math.inf:
            raise DecisionError(f"A level of {level} can't be.", "level", "0 or more")
        chosen = level
    elif backorders is not None:
        if not backorders > 0:
            raise DecisionError(f"backorders must be positive, it is {backorders}.", "backorders")
        chosen = _least_level(law, lambda x: law.short(x) <= backorders + 1e-15)
    elif is_law or measure == "immediate fill rate":
        wanted = service_level or 0.0
        chosen = _least_level(law, lambda x: _served(law, x, measure) >= wanted - 1e-12)
    else:
        chosen = level_of(demand, service_level or 0.0, measure, is_distribution=is_distribution)
    return _result(law, chosen)


def level_of(
    demand: npt.ArrayLike, service_level: float, measure: Measure, *, is_distribution: bool = False
) -> int:
    """Smallest whole level that serves samples or probabilities of demand [pieces].

    Parameters
    ----------
    demand, service_level, measure, is_distribution
        As in `base_stock`; "fill rate" or "ready rate".
    """
    if is_distribution:
        chance = np.asarray(demand, dtype=float)
        chance = chance / chance.sum()
    else:
        chance = _histogram(_samples(demand))
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


def _served(law: DemandLaw, level: Array, measure: Measure) -> Array:
    if measure == "ready rate":
        return law.at_most(level)
    if measure == "immediate fill rate":
        return law.at_most(level - 1) if law.is_whole else law.at_most(level)
    return np.asarray(1 - law.short(level) / law.mean if law.mean > 0 else np.ones(level.shape))


def _least_level(law: DemandLaw, enough: Any) -> float:
    """Smallest level, whole for whole demand, that is enough; enough must go on holding."""
    top = max(1.0, law.mean)
    while not enough(np.array([top]))[0]:
        top *= 2
        if top > 1e12:
            raise DecisionError("No level reaches that.", "service_level", "ask for less")
    if law.is_whole:
        low, high = -1, math.ceil(top)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if enough(np.array([float(middle)]))[0] else (middle, high)
        return high
    low_x, high_x = 0.0, top
    if enough(np.array([0.0]))[0]:
        return 0.0
    for _ in range(200):
        half = (low_x + high_x) / 2
        low_x, high_x = (low_x, half) if enough(np.array([half]))[0] else (half, high_x)
    return high_x


def _result(law: DemandLaw, level: float) -> BaseStock:
    at = np.array([float(level)])
    shown = np.unique(np.append(np.arange(min(math.ceil(level) + 4, 400.0)), float(level)))
    rows = np.column_stack(
        [shown, law.at_most(shown), _served(law, shown, "immediate fill rate"),
         _served(law, shown, "fill rate"), law.short(shown)]
    )  # fmt: skip
    return BaseStock(
        level=level,
        fill_rate=float(_served(law, at, "fill rate")[0]),
        ready_rate=float(law.at_most(at)[0]),
        immediate_fill_rate=float(_served(law, at, "immediate fill rate")[0]),
        backorders=float(law.short(at)[0]),
        on_hand=float(law.left(at)[0]),
        mean=law.mean,
        levels=tuple(map(tuple, rows.tolist())),
    )


def _samples(samples: npt.ArrayLike) -> Array:
    demand = np.asarray(list(samples) if isinstance(samples, range) else samples, dtype=float)
    if demand.ndim != 1 or demand.size == 0 or not np.all(demand >= 0):
        raise DecisionError("Demand must be a list of pieces, none negative.", "samples")
    return demand


def _histogram(demand: Array) -> Array:
    return np.asarray(np.bincount(np.ceil(demand).astype(int)) / len(demand), dtype=float)
