"""Newsvendor: how much to buy once for a season."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_of
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.wording import number, percent


@dataclass(frozen=True, slots=True, kw_only=True)
class Newsvendor:
    """Quantity to buy once.

    Parameters
    ----------
    quantity : float
        Smallest demand that is not exceeded with chance ``critical_ratio``. [pieces]
    quantity_whole : int
        The same rounded up to whole pieces.
    critical_ratio : float
        underage / (underage + overage). [1]
    cost : float
        Expected cost of pieces left over and short at ``quantity``; missing where only a quantile
        function was given. [currency]
    profit : float
        Expected profit; missing without a price. [currency]
    left_over, short : float
        Expected pieces left over and short. [pieces]
    fill_rate, ready_rate : float
        Share of pieces asked for that are there, chance that nothing is short. [1]
    """

    quantity: float
    quantity_whole: int
    critical_ratio: float
    cost: float
    profit: float
    left_over: float
    short: float
    fill_rate: float
    ready_rate: float

    @property
    def table(self) -> pd.DataFrame:
        """One row: every figure."""
        names = [f for f in self.__dataclass_fields__]
        return pd.DataFrame([{f: getattr(self, f) for f in names}])

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Buy {number(self.quantity, 4)}: enough in {percent(self.critical_ratio)} of seasons, "
            "where one more piece costs as much as it saves."
        )


def newsvendor(
    demand: Any,
    underage_cost: float | None = None,
    overage_cost: float | None = None,
    *,
    price: float | None = None,
    unit_cost: float | None = None,
    salvage_value: float = 0.0,
    shortage_penalty: float = 0.0,
    is_distribution: bool = False,
) -> Newsvendor:
    """Pieces to buy once for a season.

    Parameters
    ----------
    demand : array_like, shape (n,), DemandLaw, frozen scipy law or callable
        Samples of the season's demand [pieces]; with ``is_distribution`` the chance of 0, 1, 2,
        ... pieces; a law (`demand_law`); or its quantile function.
    underage_cost, overage_cost : float, optional
        Cost of one piece too few, of one too many. [currency]
    price, unit_cost, salvage_value, shortage_penalty : float, optional
        Instead: underage = price - unit_cost + shortage_penalty, overage = unit_cost -
        salvage_value. [currency per piece]
    is_distribution : bool
        Read ``demand`` as probabilities.

    Returns
    -------
    Newsvendor

    Raises
    ------
    DecisionError
        A cost that is not positive, costs missing or stated in both ways, or no demand.

    References
    ----------
    Snyder & Shen, Fundamentals of Supply Chain Theory, chapter 4 (from memory).

    Examples
    --------
    >>> newsvendor(range(1, 101), 3.0, 1.0).quantity
    75.0
    >>> from scipy.stats import norm
    >>> round(newsvendor(norm(485, 50), price=59, unit_cost=39, salvage_value=30).quantity, 2)
    509.74
    """
    stated = underage_cost is not None and overage_cost is not None
    priced = price is not None and unit_cost is not None
    if stated == priced:
        raise DecisionError(
            "Costs must be stated in one of two ways.",
            "underage_cost, overage_cost, price, unit_cost",
            "underage_cost with overage_cost, or price with unit_cost",
        )
    if price is not None and unit_cost is not None:
        under, over = price - unit_cost + shortage_penalty, unit_cost - salvage_value
    else:
        under, over = underage_cost or 0.0, overage_cost or 0.0
    if not (0 < under < math.inf and 0 < over < math.inf):
        raise DecisionError(
            f"A piece too few costs {under}, one too many {over}: both must be positive.",
            "underage_cost, overage_cost", "price above unit_cost above salvage_value",
        )  # fmt: skip
    ratio = under / (under + over)
    if isinstance(demand, DemandLaw) or hasattr(demand, "ppf") or not callable(demand):
        law = demand_of(demand, is_distribution=is_distribution)
        quantity = law.quantile(ratio)
        at = np.array([quantity])
        short, left = float(law.short(at)[0]), float(law.left(at)[0])
        ready, mean = float(law.at_most(at)[0]), law.mean
    else:
        quantity = float(_quantile(demand)(ratio))
        short = left = ready = mean = math.nan
    profit = math.nan
    if price is not None and unit_cost is not None:
        profit = (price - unit_cost) * mean - under * short - over * left
    return Newsvendor(
        quantity=quantity,
        quantity_whole=math.ceil(quantity - 1e-9),
        critical_ratio=ratio,
        cost=under * short + over * left,
        profit=profit,
        left_over=left,
        short=short,
        fill_rate=1 - short / mean if mean > 0 else 1.0,
        ready_rate=ready,
    )


def _quantile(demand: Any) -> Callable[[float], Any]:
    found: Callable[[float], Any] = demand
    return found
