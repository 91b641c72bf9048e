"""Economic order quantity: with storage, backorders, production, and price breaks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from dutylife.errors import DecisionError
from dutylife.wording import number

Discount = Literal["all units", "incremental"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderQuantity:
    """Economic order quantity and its yearly cost.

    Parameters
    ----------
    quantity : float
        [pieces]
    cost_per_year : float
        Ordering, holding and backorders, without the pieces themselves. [currency per year]
    order_cost_per_year, holding_cost_per_year, backorder_cost_per_year : float
        Its parts. [currency per year]
    purchase_cost_per_year : float
        The pieces; missing without a unit cost. [currency per year]
    total_cost_per_year : float
        ``cost_per_year`` plus the pieces. [currency per year]
    orders_per_year : float
        [1 per year]
    cycle_years : float
        Time between orders. [years]
    largest_backorder : float
        Pieces owed when an order arrives. [pieces]
    share_backordered : float
        Share of demand that waits. [1]
    largest_stock : float
        [pieces]
    unit_cost : float
        Price paid on average at this quantity; missing without one. [currency]
    """

    quantity: float
    cost_per_year: float
    order_cost_per_year: float
    holding_cost_per_year: float
    backorder_cost_per_year: float
    purchase_cost_per_year: float
    total_cost_per_year: float
    orders_per_year: float
    cycle_years: float
    largest_backorder: float
    share_backordered: float
    largest_stock: float
    unit_cost: float

    @property
    def table(self) -> pd.DataFrame:
        """One row: every figure."""
        return pd.DataFrame([{f: getattr(self, f) for f in self.__dataclass_fields__}])

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Order {number(self.quantity, 4)} at a time, {number(self.orders_per_year)} times a "
            f"year: {number(self.cost_per_year, 4)} a year for ordering and holding."
        )


def order_quantity(
    demand_per_year: float,
    order_cost: float,
    unit_cost: float | None = None,
    holding_rate: float | None = None,
    *,
    holding_cost: float | None = None,
    backorder_cost: float | None = None,
    production_rate: float | None = None,
    price_breaks: Sequence[tuple[float, float]] | None = None,
    discount: Discount = "all units",
    quantity: float | None = None,
) -> OrderQuantity:
    """Economic order quantity, or the cost of a given one.

    Parameters
    ----------
    demand_per_year : float
        [pieces per year]
    order_cost : float
        Cost of placing one order. [currency]
    unit_cost : float, optional
        What a piece costs the shop. [currency]
    holding_rate : float, optional
        Yearly cost of holding as a share of the piece's cost (capital). [1 per year]
    holding_cost : float, optional
        Yearly cost of holding a piece (storage), added to holding_rate x unit_cost; one of the
        two is needed. [currency per piece and year]
    backorder_cost : float, optional
        Yearly cost of owing a piece; demand then may wait. [currency per piece and year]
    production_rate : float, optional
        Pieces come in at this rate, not all at once. [pieces per year]
    price_breaks : sequence of (least quantity, unit cost), optional
        Unit cost from each quantity on, the first from 0; instead of ``unit_cost``.
    discount : {"all units", "incremental"}
        The lower price holds for the whole order, or only for its pieces beyond the break.
    quantity : float, optional
        Evaluate this quantity. [pieces]

    Returns
    -------
    OrderQuantity

    Raises
    ------
    DecisionError
        A figure that is not positive, no holding cost, or combinations that can't be.

    Notes
    -----
    sqrt(2 x demand x order cost / holding cost), times sqrt((holding + backorder) / backorder)
    and / sqrt(1 - demand / production).

    References
    ----------
    Harris (1913), from memory; Snyder & Shen, chapter 3, from memory.

    Examples
    --------
    >>> order_quantity(1200, 10, 6, 0.25).quantity
    126.49110640673517
    """
    _check(demand_per_year, order_cost, unit_cost, holding_rate, holding_cost, backorder_cost,
           production_rate, quantity)  # fmt: skip
    filling = 1.0
    if production_rate is not None:
        if production_rate <= demand_per_year:
            raise DecisionError(
                f"production_rate {production_rate} must exceed demand {demand_per_year}.",
                "production_rate",
            )
        filling = 1 - demand_per_year / production_rate

    def at(q: float | None, unit: float | None, extra: float = 0.0) -> OrderQuantity:
        # `extra` is what an order costs beyond unit x quantity (incremental discounts)
        held = (holding_cost or 0.0) + (holding_rate or 0.0) * (unit or 0.0)
        wait = 1.0 if backorder_cost is None else backorder_cost / (held + backorder_cost)
        if q is None:
            fixed = order_cost + extra
            if held <= 0:
                raise DecisionError("Holding must cost something.", "holding_cost, holding_rate")
            # in this order of terms, so that plain cases keep their last digit
            q = math.sqrt(2 * demand_per_year * fixed / (held * filling)) / math.sqrt(wait)
        peak = q * filling
        owed = peak * (1 - wait)
        carried = (holding_rate or 0.0) * extra / 2
        holding = held * (peak - owed) ** 2 / (2 * peak) + carried
        waiting = 0.0 if backorder_cost is None else backorder_cost * owed**2 / (2 * peak)
        orders = demand_per_year / q
        bought = math.nan if unit is None else demand_per_year * unit + orders * extra
        running = order_cost * orders + holding + waiting
        return OrderQuantity(
            quantity=q,
            cost_per_year=running,
            order_cost_per_year=order_cost * orders,
            holding_cost_per_year=holding,
            backorder_cost_per_year=waiting,
            purchase_cost_per_year=bought,
            total_cost_per_year=running + (0.0 if math.isnan(bought) else bought),
            orders_per_year=orders,
            cycle_years=1 / orders,
            largest_backorder=owed,
            share_backordered=1 - wait,
            largest_stock=peak - owed,
            unit_cost=bought / demand_per_year,
        )

    if price_breaks is None:
        return at(quantity, unit_cost)
    tiers = _tiers(price_breaks, discount)
    options = []
    for low, high, unit, extra in tiers:
        best = quantity if quantity is not None else at(None, unit, extra).quantity
        if quantity is not None and not low <= quantity < high:
            continue
        # beyond the tier its end is the next tier's start, dearer than what that tier offers
        if best < high:
            options.append(at(max(best, low), unit, extra))
    return min(options, key=lambda o: o.total_cost_per_year)


def _tiers(
    breaks: Sequence[tuple[float, float]], discount: str
) -> list[tuple[float, float, float, float]]:
    """Least and upper quantity, unit cost, and cost of an order beyond unit x quantity."""
    rows = sorted((float(q), float(c)) for q, c in breaks)
    if discount not in ("all units", "incremental"):
        raise DecisionError(f"'{discount}' is not known.", "discount", "all units or incremental")
    if not rows or rows[0][0] > 1 or any(not c > 0 for _, c in rows):
        raise DecisionError(
            "price_breaks must start at quantity 0 with positive costs.", "price_breaks",
            "[(0, 0.75), (400, 0.72)], say",
        )  # fmt: skip
    ends = [q for q, _ in rows[1:]] + [math.inf]
    out, extra = [], 0.0
    for i, ((low, unit), high) in enumerate(zip(rows, ends, strict=True)):
        if discount == "incremental" and i:
            extra += (rows[i - 1][1] - unit) * low
        out.append((low, high, unit, extra))
    return out


def _check(
    demand: float, order: float, unit: float | None, rate: float | None, held: float | None,
    backorder: float | None, production: float | None, quantity: float | None,
) -> None:  # fmt: skip
    given = {
        "demand_per_year": demand, "order_cost": order, "unit_cost": unit, "holding_rate": rate,
        "holding_cost": held, "backorder_cost": backorder, "production_rate": production,
        "quantity": quantity,
    }  # fmt: skip
    bad = [f"{k} = {v}" for k, v in given.items() if v is not None and not 0 < v < math.inf]
    if bad:
        raise DecisionError("Must be positive and finite: " + ", ".join(bad) + ".", bad[0])
    if held is None and rate is None:
        raise DecisionError(
            "Holding a piece must cost something.", "holding_cost, holding_rate",
            "state holding_cost, or holding_rate with unit_cost",
        )  # fmt: skip
