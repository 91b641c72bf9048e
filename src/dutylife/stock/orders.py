"""Demand to levels and orders: what to hold, what to order now, when the shelf runs out."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.settings import Settings, Stock
from dutylife.stock.demand import run_out_day
from dutylife.stock.order_lot import order_quantity
from dutylife.stock.part_law import quantiles
from dutylife.stock.policies import level_of
from dutylife.stock.streams import Laws
from dutylife.wording import count_shelf_sentence, no_order_sentence, order_sentence

Array = npt.NDArray[np.float64]
# our proposals, where neither the shelf file nor the settings say
PROPOSED = Stock(
    lead_time_days=14.0,
    review_days=30.0,
    service_level=0.95,
    service_measure="fill rate",
    holding_rate=0.25,
    pack_size=1.0,
)
_FROM_SHELF = ("on_hand", "on_order", "unit_cost", "lead_time_days", "pack_size", "supplier")


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Stock terms of one part; ``on_hand`` None is unknown, never 0."""

    lead_time_days: float
    review_days: float
    service_level: float
    service_measure: Any
    holding_rate: float
    pack_size: float
    minimum_order: float
    unit_cost: float | None
    order_cost: float | None
    supplier: str | None
    on_hand: float | None
    on_order: float | None

    @property
    def protection_days(self) -> float:
        """Lead time plus review."""
        return self.lead_time_days + self.review_days


def terms_of(number: str, shelf: dict[str, Any], settings: Settings) -> Terms:
    """Terms of a part: its own settings, else the shelf file, else [stock.default], else ours."""
    general = settings.stock.get("default")
    own = settings.stock.get(number)
    counted = shelf.get("counted")
    on_shelf = {k: shelf.get(k) for k in _FROM_SHELF}
    if _is_known(counted):
        on_shelf["on_hand"] = counted
    merged = PROPOSED.model_dump(exclude_none=True)
    merged |= {} if general is None else general.model_dump(exclude_none=True)
    merged |= {k: v for k, v in on_shelf.items() if _is_known(v)}
    merged |= {} if own is None else own.model_dump(exclude_none=True)
    return Terms(
        lead_time_days=float(merged["lead_time_days"]),
        review_days=float(merged["review_days"]),
        service_level=float(merged["service_level"]),
        service_measure=merged["service_measure"],
        holding_rate=float(merged["holding_rate"]),
        pack_size=float(merged["pack_size"]),
        minimum_order=float(merged.get("minimum_order", 0.0)),
        unit_cost=merged.get("unit_cost"),
        order_cost=merged.get("order_cost"),
        supplier=merged.get("supplier"),
        on_hand=merged.get("on_hand"),
        on_order=merged.get("on_order"),
    )


def stock_row(
    number: str,
    laws: Laws,
    terms: Terms,
    as_of: pd.Timestamp,
    settings: Settings,
) -> dict[str, Any]:
    """Row of table "stock_plan" of one part under the plan in force."""
    demand = laws[_ahead(terms.protection_days)].chances()
    point = level_of(demand, terms.service_level, terms.service_measure, is_distribution=True)
    up_to = point + _lot(laws, terms)
    position = None if terms.on_hand is None else terms.on_hand + (terms.on_order or 0.0)
    order = None if position is None else _order(position, point, up_to, terms)
    level = float(point) if position is None else position + (order or 0.0)
    fill, ready = _service(demand, level)
    needed = _needed_by(laws, position, terms, as_of)
    p50, p90 = quantiles(demand, (0.5, 0.9))
    cost = terms.unit_cost
    row: dict[str, Any] = {
        "part_number": number, "supplier": terms.supplier, "on_hand": terms.on_hand,
        "on_order": terms.on_order, "reorder_point": float(point), "order_up_to": float(up_to),
        "order_now": order, "fill_rate": fill, "ready_rate": ready, "unit_cost": cost,
        "order_cost": None if order is None or cost is None else order * cost,
        "held_cost": None if cost is None else terms.holding_rate * cost * up_to,
        "pack_size": terms.pack_size, "lead_time_days": terms.lead_time_days,
        "needed_by": needed, "p50": p50, "p90": p90,
    }  # fmt: skip
    by = as_of + pd.Timedelta(days=math.ceil(terms.protection_days))
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
        monthly = _a_day(laws) * 30.436875
        last = None if needed is None else needed - pd.Timedelta(days=terms.lead_time_days)
        row["sentence"] = order_sentence(
            order=order, order_by=last, order_cost=row["order_cost"],
            currency=settings.fleet.currency,
            lasts_months=order / monthly if monthly > 0 else math.inf, **common,
        )  # fmt: skip
    else:
        row["sentence"] = no_order_sentence(on_order=terms.on_order or 0.0, point=point, **common)
    return row


def _lot(laws: Laws, terms: Terms) -> int:
    """Pieces above the reorder point: demand of one review, or the economic quantity."""
    if terms.order_cost and terms.unit_cost and terms.holding_rate:
        yearly = _a_day(laws) * 365.25
        if yearly > 0:
            lot = order_quantity(
                yearly, terms.order_cost, terms.unit_cost, terms.holding_rate
            ).quantity
            # the square-root rule buys years ahead of a slow part; what is needed beyond the
            # forecast's horizon nobody has looked at, so it buys no further (our proposal)
            return max(round(min(lot, _longest(laws) / 365.25 * yearly)), 1)
    return round(laws[_ahead(terms.review_days)].mean)


def _ahead(days: float) -> tuple[int, int]:
    return 0, max(round(days), 1)


def _longest(laws: Laws) -> int:
    return max(end for start, end in laws if start == 0)


def _a_day(laws: Laws) -> float:
    """Mean pieces a day over the longest span."""
    days = _longest(laws)
    return laws[0, days].mean / days


def _service(chance: Array, level: float) -> tuple[float, float]:
    """Fill rate and ready rate of a level over the span."""
    pieces = np.arange(len(chance))
    asked = float(chance @ pieces)
    short = float(chance @ np.maximum(pieces - level, 0.0))
    return (1 - short / asked if asked > 0 else 1.0), float(chance[pieces <= level].sum())


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


def _is_known(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))
