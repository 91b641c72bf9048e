"""Simulated use to the demand forecast: spans of time, means by stream, quantiles."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.parts import DAYS_PER_MONTH
from dutylife.stock.streams import OTHER, PLANNED, UNPLANNED, PartUse

Array = npt.NDArray[np.float64]
SPANS = (1, 3, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From the start of ``from_date``, ``days`` long; ``start`` days after the as-of date ends."""

    from_date: pd.Timestamp
    months: float
    start: float
    days: float


def common_spans(as_of: pd.Timestamp, horizon_months: int) -> list[Span]:
    """Each calendar month wholly after as_of within the horizon, then spans of 1, 3, 6 months."""
    first = as_of + pd.Timedelta(days=1)
    end = as_of + pd.DateOffset(months=horizon_months)
    begins = pd.date_range(first, end, freq="MS")
    spans = []
    for begin in begins:
        after = begin + pd.DateOffset(months=1)
        if after <= end + pd.Timedelta(days=1):
            spans.append(_span(begin, after, 1.0, first))
    for months in SPANS:
        spans.append(_span(first, first + pd.DateOffset(months=months), float(months), first))
    return spans


def protection_span(as_of: pd.Timestamp, days: float) -> Span:
    """Lead time plus review, from the day after as_of."""
    first = as_of + pd.Timedelta(days=1)
    return Span(from_date=first, months=days / DAYS_PER_MONTH, start=0.0, days=days)


def forecast_rows(
    number: str,
    plan: str,
    use: PartUse,
    spans: list[Span],
    n_simulations: int,
) -> list[dict[str, Any]]:
    """Rows of table "demand_forecast" of one part under one plan; like spans appear once."""
    simulation, day, pieces, stream = use.arrays()
    rows: list[dict[str, Any]] = []
    seen: set[tuple[pd.Timestamp, float]] = set()
    for span in spans:
        key = (span.from_date, round(span.months, 9))
        if key in seen:
            continue
        seen.add(key)
        first, last = np.searchsorted(day, [span.start, span.start + span.days])
        part = slice(int(first), int(last))
        total = _summed(simulation[part], pieces[part], n_simulations)
        by_stream = np.bincount(stream[part], weights=pieces[part], minlength=3) / n_simulations
        p50, p80, p90, p95 = quantiles(total, (0.5, 0.8, 0.9, 0.95))
        rows.append(
            {
                "part_number": number, "plan": plan, "from_date": span.from_date,
                "months": span.months, "mean": float(total.mean()),
                "p50": p50, "p80": p80, "p90": p90, "p95": p95,
                "mean_planned": float(by_stream[PLANNED]),
                "mean_unplanned": float(by_stream[UNPLANNED]),
                "mean_other": float(by_stream[OTHER]),
            }
        )  # fmt: skip
    return rows


def totals(use: PartUse, days: float, n_simulations: int) -> Array:
    """Pieces used in the first ``days``, shape (n_simulations,)."""
    simulation, day, pieces, _ = use.arrays()
    last = int(np.searchsorted(day, days))
    return _summed(simulation[:last], pieces[:last], n_simulations)


def _summed(simulation: npt.NDArray[np.int64], pieces: Array, n_simulations: int) -> Array:
    counts = np.bincount(simulation, weights=pieces, minlength=n_simulations)
    return np.asarray(counts, dtype=float)


def run_out_days(use: PartUse, level: float, n_simulations: int) -> Array:
    """Day on which each simulation asks for more than ``level``, inf if never; shape (n,)."""
    simulation, day, pieces, _ = use.arrays()
    order = np.argsort(simulation, kind="stable")
    simulation, day, pieces = simulation[order], day[order], pieces[order]
    so_far = np.cumsum(pieces)
    begins = np.searchsorted(simulation, np.arange(n_simulations))
    before = np.concatenate([[0.0], so_far])[begins]
    over = so_far - before[simulation] > level
    out = np.full(n_simulations, np.inf)
    np.minimum.at(out, simulation[over], day[over])
    return out


def quantiles(total: Array, levels: tuple[float, ...]) -> list[float]:
    """Whole-piece quantiles: smallest number of pieces that covers each share of the samples."""
    return [float(q) for q in np.quantile(total, levels, method="inverted_cdf")]


def _span(begin: pd.Timestamp, after: pd.Timestamp, months: float, first: pd.Timestamp) -> Span:
    return Span(
        from_date=begin,
        months=months,
        start=float((begin - first).days),
        days=float((after - begin).days),
    )
