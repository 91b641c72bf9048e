"""What more money on the shelf brings: pieces waited for against the money in the levels."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.schema import as_table
from dutylife.stock.stream_terms import Laws
from dutylife.stock.terms import Terms
from dutylife.vocabulary.spans import DAYS_PER_YEAR
from dutylife.wording import count, money, number

Array = npt.NDArray[np.float64]
SERVED = (0.8, 0.9, 0.95, 0.98, 0.99)  # shares of pieces given at once that are marked
_MOST_POINTS = 40
_LEAST_GAIN = 1e-4  # pieces owed; what a further piece must spare to be on the curve


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShelfLine:
    """One part on the shelf.

    Parameters
    ----------
    name : str
        Part number.
    demands : tuple of ndarray
        Chance of 0, 1, 2, ... pieces within lead time, within lead time and half the review
        period, and within lead time and review period.
    unit_cost : float
        What a piece costs the shop, above 0. [currency]
    waited_share : float
        Share of the pieces asked for that somebody waits for: planned work can be set to the day
        the part is there. [1]
    held, ordered : float
        Pieces on the shelf and on order; of today's order. Missing where nobody counted. [pieces]
    """

    name: str
    demands: tuple[Array, Array, Array]
    unit_cost: float
    waited_share: float = 1.0
    held: float = math.nan
    ordered: float = 0.0

    def owed(self, top: int) -> Array:
        """Expected pieces owed at levels 0 to ``top``, mean over the days between deliveries."""
        early, middle, late = (_short(d, top) for d in self.demands)
        return self.waited_share * (early + 4 * middle + late) / 6  # Simpson's rule over the days

    def missed(self, top: int) -> Array:
        """Expected pieces not given at once in one review period at levels 0 to ``top``."""
        early, _, late = (_short(d, top) for d in self.demands)
        return late - early

    @property
    def asked(self) -> float:
        """Expected pieces of one review period."""
        return _mean(self.demands[2]) - _mean(self.demands[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MoneyCurve:
    """Money in the levels against pieces waited for.

    Parameters
    ----------
    table : DataFrame, table "money_curve"
    currency : str
    n_left_out : int
        Parts whose cost or count is not known.
    """

    table: pd.DataFrame
    currency: str
    n_left_out: int

    @property
    def text(self) -> str:
        """One sentence: what the shelf as it stands, today's order and 95 instead of 90 % do."""
        if self.table.empty:
            return "No part has both a forecast and a known cost."
        low, high = self.at("90 % given"), self.at("95 % given")
        said = []
        if low and high:
            spared = round(low["waiting_days"] - high["waiting_days"])
            said.append(
                "95 % of pieces given at once instead of 90 % take "
                f"{money(high['levels_cost'] - low['levels_cost'], self.currency)} more in the "
                f"levels and spare {count(spared, 'day')} of waiting a year."
            )
        for point, words in (
            ("as it stands", "The shelf as it stands"),
            ("with the order", "With today's order it"),
        ):
            if row := self.at(point):
                said.append(
                    f"{words} gives {number(100 * row['fill_rate'], 3)} % at once and lets people "
                    f"wait {count(round(row['waiting_days']), 'day')} a year, summed over pieces."
                )
        return " ".join(said) or "No level reaches 90 % of pieces given at once."

    def at(self, point: str) -> dict[str, float]:
        """Figures of a named point; empty where the curve has none."""
        rows = self.table[self.table["point"].astype(object) == point]
        if rows.empty:
            return {}
        return {str(k): float(v) for k, v in rows.iloc[0].drop("point").items()}


def money_curve(
    lines: Sequence[ShelfLine], *, currency: str = "", n_left_out: int = 0
) -> MoneyCurve:
    """Buy the piece that spares most waiting for its money, again and again.

    Parameters
    ----------
    lines : sequence of ShelfLine
    currency : str
    n_left_out : int
        Parts without a known cost.

    Returns
    -------
    MoneyCurve
        ``table`` has up to 40 points of the curve, the levels that first give 80, 90, 95, 98 and
        99 % of pieces at once ("90 % given"), the shelf as it stands and with today's order.
        Over the counted parts, so that all points compare; over all parts where none is counted.

    Raises
    ------
    DecisionError
        A cost is not above 0, or a chance of demand is missing.

    Notes
    -----
    Pieces owed are a convex function of each level, so that the greatest gain by money first is
    the best list for every sum of money that it passes (marginal analysis: C. C. Sherbrooke,
    "Optimal Inventory Modeling of Systems", 2nd ed. 2004, chapter 2). Days waited in a year are
    365.25 times the mean number of pieces owed.
    """
    for line in lines:
        if not (line.unit_cost > 0 and math.isfinite(line.unit_cost)):
            raise DecisionError(
                f"A piece costs {line.unit_cost}.", f"part {line.name}", "state a cost above 0"
            )
    counted = [line for line in lines if math.isfinite(line.held)]
    n_left_out += len(lines) - len(counted) if counted else 0
    lines = counted or list(lines)
    if not any(line.asked > 0 for line in lines):
        return MoneyCurve(table=_typed([]), currency=currency, n_left_out=n_left_out)
    tops = [max(len(d) for d in line.demands) for line in lines]
    owed = [line.owed(top) for line, top in zip(lines, tops, strict=True)]
    missed = [line.missed(top) for line, top in zip(lines, tops, strict=True)]
    asked = sum(line.asked for line in lines)
    gains = np.concatenate([-np.diff(o) for o in owed])
    lost = np.concatenate([np.diff(m) for m in missed])
    cost = np.concatenate([np.full(t, line.unit_cost) for line, t in zip(lines, tops, strict=True)])
    # a stable sort keeps the pieces of one part in their order, where gains are alike
    order = np.argsort(-gains / cost, kind="stable")
    order = order[gains[order] > _LEAST_GAIN]
    spent = np.concatenate([[0.0], np.cumsum(cost[order])])
    still = sum(o[0] for o in owed) - np.concatenate([[0.0], np.cumsum(gains[order])])
    short = sum(m[0] for m in missed) + np.concatenate([[0.0], np.cumsum(lost[order])])
    given = 1 - short / asked
    rows = [
        _row("curve", k, spent[k], given[k], still[k])
        for k in np.unique(np.linspace(0, len(order), _MOST_POINTS).round().astype(int))
    ]
    for share in SERVED:
        reached = np.flatnonzero(given >= share)
        if len(reached):
            k = int(reached[0])
            rows.append(_row(f"{100 * share:.0f} % given", k, spent[k], given[k], still[k]))
    rows += _as_counted(lines, owed, missed, asked)
    return MoneyCurve(table=_typed(rows), currency=currency, n_left_out=n_left_out)


def days_on_curve(terms: Terms) -> list[int]:
    """Days ahead whose law `shelf_line` asks for: an order of today is there, one of half a
    review later, and the next one.
    """  # noqa: D205
    lead, review = terms.lead_whole_days, terms.review_whole_days
    return [days for days in (lead, lead + review // 2, lead + review) if days > 0]


def shelf_line(row: Mapping[str, Any], laws: Laws, terms: Terms) -> ShelfLine:
    """Return a part of known cost as it stands on the curve of money.

    Parameters
    ----------
    row : mapping
        Its row of table "stock_plan".
    laws : dict of (start, end) in days to SpanLaw
        With the spans from today of `days_on_curve`.
    terms : Terms
    """
    lead, review = terms.lead_whole_days, terms.review_whole_days
    days = (lead, lead + review // 2, lead + review)
    late = laws[0, days[-1]]
    position = None if terms.on_hand is None else terms.on_hand + (terms.on_order or 0.0)
    early, middle, last = (laws[0, d].chances() if d else np.ones(1) for d in days)
    return ShelfLine(
        name=str(row["part_number"]),
        demands=(early, middle, last),
        unit_cost=float(row["unit_cost"]),
        waited_share=1 - late.mean_planned / late.mean if late.mean > 0 else 1.0,
        held=math.nan if position is None else position,
        ordered=float(row["order_now"] or 0.0),
    )


def _as_counted(
    lines: Sequence[ShelfLine], owed: list[Array], missed: list[Array], asked: float
) -> list[dict[str, Any]]:
    """Shelf as it stands and with today's order; nothing where nobody counted."""
    if not all(math.isfinite(line.held) for line in lines):
        return []
    rows = []
    for point, share in (("as it stands", 0.0), ("with the order", 1.0)):
        level = [max(line.held + share * line.ordered, 0.0) for line in lines]
        at = [min(int(v), len(o) - 1) for v, o in zip(level, owed, strict=True)]
        short = sum(float(m[k]) for m, k in zip(missed, at, strict=True))
        rows.append(
            _row(
                point,
                round(sum(level)),
                sum(v * line.unit_cost for v, line in zip(level, lines, strict=True)),
                1 - short / asked,
                sum(float(o[k]) for o, k in zip(owed, at, strict=True)),
            )
        )
    return rows


def _row(point: str, pieces: int, cost: float, given: float, owed: float) -> dict[str, Any]:
    return {
        "point": point, "pieces": float(pieces), "levels_cost": float(cost),
        "fill_rate": float(np.clip(given, 0.0, 1.0)),
        "waiting_days": max(DAYS_PER_YEAR * float(owed), 0.0),
    }  # fmt: skip


def _typed(rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = ["point", "pieces", "levels_cost", "fill_rate", "waiting_days"]
    return as_table("money_curve", pd.DataFrame(rows, columns=columns))


def _mean(chance: Array) -> float:
    return float(chance @ np.arange(len(chance)))


def _short(chance: Array, top: int) -> Array:
    """Expected pieces beyond each level 0 to ``top``."""
    beyond = np.maximum(1 - np.cumsum(chance), 0.0)
    whole = np.cumsum(beyond[::-1])[::-1]
    return np.pad(whole, (0, max(top + 1 - len(whole), 0)))[: top + 1]
