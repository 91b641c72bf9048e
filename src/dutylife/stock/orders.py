"""Demand to levels and orders: what to hold, what to order now, when the shelf runs out."""

import math
from typing import Any

import pandas as pd

from dutylife.settings import Settings
from dutylife.stock.demand import run_out_day
from dutylife.stock.levels import levels_of
from dutylife.stock.part_law import quantiles
from dutylife.stock.stream_terms import Laws
from dutylife.stock.terms import Terms
from dutylife.wording import (
    count,
    count_shelf_sentence,
    no_order_sentence,
    order_sentence,
    shelf_life_sentence,
)


def stock_row(
    number: str,
    laws: Laws,
    terms: Terms,
    as_of: pd.Timestamp,
    settings: Settings,
    horizon_days: int,
) -> dict[str, Any]:
    """Row of table "stock_plan" of one part under the plan in force."""
    levels = levels_of(lambda days: laws[0, days].chances(), terms, horizon_days)
    point, up_to = levels.point, levels.up_to
    demand = laws[0, terms.protection_days].chances()
    position = None if terms.on_hand is None else terms.on_hand + (terms.on_order or 0.0)
    order = None if position is None else _order(position, point, up_to, terms)
    level = float(point) if position is None else position + (order or 0.0)
    ready = float(demand[: math.floor(level) + 1].sum())
    needed = _needed_by(laws, position, terms, as_of)
    p50, p90 = quantiles(demand, (0.5, 0.9))
    cost = terms.unit_cost
    row: dict[str, Any] = {
        "part_number": number, "supplier": terms.supplier, "on_hand": terms.on_hand,
        "on_order": terms.on_order, "reorder_point": float(point), "order_up_to": float(up_to),
        "order_now": order, "service_level": terms.service_level,
        "fill_rate": levels.fill_rate, "ready_rate": levels.ready_rate,
        "unit_cost": cost,
        "order_cost": None if order is None or cost is None else order * cost,
        "held_cost": None if cost is None else terms.holding_rate * cost * levels.held,
        "pack_size": terms.pack_size, "lead_time_days": terms.lead_time_days,
        "needed_by": needed, "p50": p50, "p90": p90,
    }  # fmt: skip
    by = as_of + pd.Timedelta(days=terms.protection_days)
    common: dict[str, Any] = {
        "low": p50,
        "high": p90,
        "by": by,
        "as_of": as_of,
        "level": level,
        "ready": ready,
    }
    if position is None:
        row["sentence"] = count_shelf_sentence(hold=point, **common)
    elif order:
        pack = terms.pack_size
        packs = f" ({count(round(order / pack), 'pack')} of {pack:g})" if pack > 1 else ""
        comes = as_of + pd.Timedelta(days=terms.lead_whole_days)
        row["sentence"] = order_sentence(
            order=order, needed_by=needed, comes_on=comes, order_cost=row["order_cost"],
            currency=settings.fleet.currency,
            packs=packs, **common,
        )  # fmt: skip
    else:
        row["sentence"] = no_order_sentence(on_order=terms.on_order or 0.0, point=point, **common)
    if terms.shelf_life_days is not None and levels.lowered_to is not None:
        row["sentence"] += " " + shelf_life_sentence(
            most=levels.lowered_to, days=terms.shelf_life_days, there=position or 0.0,
            ordered=order or 0.0,
        )  # fmt: skip
    return row


def _order(position: float, point: int, up_to: int, terms: Terms) -> float:
    """Pieces to order now, in whole packs, at least the minimum; 0 at or above the point."""
    if position >= point:
        return 0.0
    wanted = max(up_to - position, terms.minimum_order)
    return math.ceil(wanted / terms.pack_size - 1e-9) * terms.pack_size


def _needed_by(
    laws: Laws, position: float | None, terms: Terms, as_of: pd.Timestamp
) -> pd.Timestamp | None:
    """First day on which the shelf has likelier run out than the service level allows.

    Where the shelf is not known, the day by which a first use is more likely than not.
    """
    level, share = (0.0, 0.5) if position is None else (position, 1 - terms.service_level)
    day = run_out_day(laws, level, share)
    return as_of + pd.Timedelta(days=1 + math.floor(day)) if math.isfinite(day) else None
