"""One order before a season: how many pieces are worth buying ahead of it."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.settings import SeasonOrder, Settings
from dutylife.stock.demand import Span, days_ahead
from dutylife.stock.part_law import quantiles
from dutylife.stock.stream_terms import Laws
from dutylife.stock.terms import Terms
from dutylife.vocabulary.spans import DAYS_PER_MONTH, DAYS_PER_YEAR
from dutylife.wording import season_order_sentence

Array = npt.NDArray[np.float64]
N_ENDS = 8  # spans within a season, between which the use of a piece is taken to run evenly


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonGain:
    """What each further piece bought ahead brings, mean over what the season may ask for.

    ``gain`` shape (n,) of the 1st, 2nd, ... piece there when the season begins [currency];
    ``used`` chance that it is asked for within the season. It falls from piece to piece, so that
    the best number is the last one that brings anything.
    """

    gain: Array
    used: Array

    @property
    def best(self) -> int:
        """Pieces to have when the season begins."""
        brings = self.gain > 0
        return int(brings.argmin()) if not brings.all() else len(brings)

    def of(self, there: int, order: int) -> float:
        """Gain of so many pieces on top of those that are there [currency]."""
        if there + order > len(self.gain):  # beyond all that the season can ask for: last one's
            more = there + order - max(len(self.gain), there)
            return float(self.gain[there:].sum() + more * self.gain[-1])
        return float(self.gain[there : there + order].sum())


def season_gain(
    demand: list[Array],
    ends_days: list[float],
    *,
    short_cost: float,
    held_cost_per_day: float,
    left_over_cost: float,
) -> SeasonGain:
    """Mean gain of each piece bought ahead of a season.

    Parameters
    ----------
    demand : list of ndarray
        Chance of 0, 1, 2, ... pieces from the first day of the season to each of the ends.
    ends_days : list of float
        Days from the first day of the season to each end, rising; the last is the season's own.
    short_cost : float
        What it costs that a piece asked for in the season was not bought ahead. [currency]
    held_cost_per_day : float
        Of one piece that lies on the shelf within the season. [currency per day]
    left_over_cost : float
        Of one piece left at the end of the season. [currency]

    Returns
    -------
    SeasonGain

    Notes
    -----
    The j-th piece is used if the season asks for j or more, and lies until then: its mean time on
    the shelf is the integral over the season of the chance that fewer than j were asked for. With
    no cost of lying within the season this is the newsvendor's rule, the smallest number that is
    enough with chance short_cost / (short_cost + left_over_cost) (`newsvendor`).
    """
    n = len(demand[-1])  # the n-th piece is never asked for
    fewer = np.zeros((len(demand) + 1, n))
    fewer[0] = 1.0
    for row, chances in zip(fewer[1:], demand, strict=True):
        total = np.minimum(np.cumsum(chances), 1.0)
        row[:] = np.concatenate([total, np.ones(max(n - len(total), 0))])[:n]
    lies = np.trapezoid(fewer, np.array([0.0, *ends_days]), axis=0)
    left = fewer[-1]
    gain = short_cost * (1 - left) - held_cost_per_day * lies - left_over_cost * left
    return SeasonGain(gain=gain, used=1 - left)


def season_spans(season: SeasonOrder, as_of: pd.Timestamp) -> list[Span]:
    """Spans a season's order follows from: until it begins, and from then to several ends."""
    first = as_of + pd.Timedelta(days=1)
    start = float((pd.Timestamp(season.from_date) - first).days)
    days = float((pd.Timestamp(season.until_date) - pd.Timestamp(season.from_date)).days + 1)
    ends = sorted({float(math.ceil(days * i / N_ENDS)) for i in range(1, N_ENDS + 1)})
    begins = pd.Timestamp(season.from_date)
    within = [Span(from_date=begins, months=e / DAYS_PER_MONTH, start=start, days=e) for e in ends]
    return ([days_ahead(as_of, start)] if start > 0 else []) + within


def seasons_ahead(settings: Settings, as_of: pd.Timestamp) -> list[SeasonOrder]:
    """Seasons that can still be ordered for."""
    return [
        s
        for s in settings.season_orders
        if pd.Timestamp(s.order_by) >= as_of and pd.Timestamp(s.from_date) > as_of
    ]


def season_order_row(
    number: str, laws: Laws, terms: Terms, season: SeasonOrder, settings: Settings,
    as_of: pd.Timestamp, ordered_today: float = 0.0,
) -> dict[str, Any]:  # fmt: skip
    """Row of table "season_orders" of one part; ``ordered_today`` pieces are on their way, too.

    Notes
    -----
    A piece bought ahead is cheaper by ``price_cut`` and spares ``short_cost``; it costs the money
    held in it, at the part's holding rate, until it is used; one left over is held until the same
    season a year later, when it stands for one that would be bought then, or is lost where its
    shelf life ends before. Of what lies there or comes today, the mean demand until the season is
    taken off.
    """
    spans = season_spans(season, as_of)
    within = [s for s in spans if s.from_date == pd.Timestamp(season.from_date)]
    before = spans[: len(spans) - len(within)]
    demand = laws[within[-1].key].chances()
    p50, p90 = quantiles(demand, (0.5, 0.9))
    row: dict[str, Any] = {
        "season": season.name, "part_number": number, "supplier": terms.supplier,
        "order_by": pd.Timestamp(season.order_by), "from_date": pd.Timestamp(season.from_date),
        "until_date": pd.Timestamp(season.until_date),
        "mean": laws[within[-1].key].mean, "p50": p50, "p90": p90,
        "left_at_start": None, "order_ahead": None, "unit_cost": None, "order_cost": None,
        "gain_money": None, "left_over": None,
    }  # fmt: skip
    common: dict[str, Any] = {
        "season": season.name, "low": p50, "high": p90, "by": pd.Timestamp(season.order_by),
        "as_of": as_of, "currency": settings.fleet.currency,
    }  # fmt: skip
    if not terms.unit_cost or terms.on_hand is None:
        unknown = "what the part costs" if not terms.unit_cost else "how many lie on the shelf"
        return row | {"sentence": season_order_sentence(unknown=unknown, **common)}
    used = laws[before[0].key].mean if before else 0.0
    there = round(max(terms.on_hand + (terms.on_order or 0.0) + ordered_today - used, 0.0))
    paid = terms.unit_cost * (1 - season.price_cut)
    per_day = terms.holding_rate * paid / DAYS_PER_YEAR
    gain = season_gain(
        [laws[s.key].chances() for s in within], [s.days for s in within],
        short_cost=terms.unit_cost - paid + season.short_cost, held_cost_per_day=per_day,
        left_over_cost=_left_over_cost(terms, season, paid, per_day),
    )  # fmt: skip
    order = _best_order(gain, there, terms)
    level = there + order
    left_over = float(np.maximum(level - np.arange(len(demand)), 0) @ demand)
    return row | {
        "left_at_start": float(there), "order_ahead": float(order), "unit_cost": paid,
        "order_cost": order * paid, "gain_money": gain.of(there, order), "left_over": left_over,
        "sentence": season_order_sentence(
            order=order, there=there, cost=order * paid, gain=gain.of(there, order),
            left_over=left_over, **common,
        ),
    }  # fmt: skip


def _left_over_cost(terms: Terms, season: SeasonOrder, paid: float, per_day: float) -> float:
    within = (pd.Timestamp(season.until_date) - pd.Timestamp(season.from_date)).days + 1
    if terms.shelf_life_days is not None and terms.shelf_life_days < DAYS_PER_YEAR:
        return paid
    return per_day * (DAYS_PER_YEAR - within)


def _best_order(gain: SeasonGain, there: int, terms: Terms) -> int:
    """Whole packs, at least the minimum, that bring most; 0 where none brings anything."""
    pack = terms.whole_pack
    wanted = max(gain.best - there, 0)
    least = math.ceil(max(terms.minimum_order, 1.0) / pack - 1e-9) * pack
    near = {max(n * pack, least) for n in (wanted // pack, wanted // pack + 1)}
    return max([0, *sorted(near)], key=lambda order: gain.of(there, order))
