"""Laws of demand to the demand forecast: spans of time, means by stream, quantiles."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.lattice import Spans
from dutylife.stock.part_law import SpanLaw, quantiles
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
SPANS = (1, 3, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From the start of ``from_date``, ``days`` long; ``start`` days after the as-of date ends."""

    from_date: pd.Timestamp
    months: float
    start: float
    days: float

    @property
    def key(self) -> tuple[int, int]:
        """Whole days: start and end."""
        return round(self.start), max(round(self.start + self.days), round(self.start) + 1)


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


def days_ahead(as_of: pd.Timestamp, days: float) -> Span:
    """So many days from the day after as_of."""
    first = as_of + pd.Timedelta(days=1)
    return Span(from_date=first, months=days / DAYS_PER_MONTH, start=0.0, days=days)


def lattice_spans(
    spans: list[Span],
    shortest_scale_days: float,
    passed: Callable[..., Array] | None = None,
) -> tuple[Spans, dict[Any, int]]:
    """Spans as steps of a lattice, each once, and the place of each key.

    Steps are a day; finer where lives are so short that a day is a good part of them. ``passed``
    turns calendar days into those of the lattice, where they are others.
    """
    keys = sorted({s.key for s in spans})
    fine = int(np.clip(np.ceil(16.0 / shortest_scale_days), 1, 8))
    ends = np.array(keys, dtype=np.int64) * fine
    if passed is not None:
        ends = np.round(passed(np.array(keys, dtype=float).ravel()) * fine).astype(np.int64)
        ends = ends.reshape(-1, 2)
        ends[:, 1] = np.maximum(ends[:, 1], ends[:, 0] + 1)
    lattice = Spans(start=ends[:, 0], end=ends[:, 1], step_days=1.0 / fine)
    return lattice, {key: i for i, key in enumerate(keys)}


def forecast_rows(
    number: str, plan: str, laws: dict[tuple[int, int], SpanLaw], spans: list[Span]
) -> list[dict[str, Any]]:
    """Rows of table "demand_forecast" of one part under one plan; like spans appear once."""
    rows: list[dict[str, Any]] = []
    seen: set[tuple[pd.Timestamp, float]] = set()
    for span in spans:
        key = (span.from_date, round(span.months, 9))
        if key in seen:
            continue
        seen.add(key)
        law = laws[span.key]
        p50, p80, p90, p95 = quantiles(law.chances(), (0.5, 0.8, 0.9, 0.95))
        rows.append(
            {
                "part_number": number, "plan": plan, "from_date": span.from_date,
                "months": span.months, "mean": law.mean,
                "p50": p50, "p80": p80, "p90": p90, "p95": p95,
                "mean_planned": law.mean_planned, "mean_unplanned": law.mean_unplanned,
                "mean_other": law.mean_other,
            }
        )  # fmt: skip
    return rows


def run_out_day(laws: dict[tuple[int, int], SpanLaw], level: float, share: float) -> float:
    """Days until more than ``level`` pieces are asked for with a chance of ``share``; else inf.

    Between the spans that start now, the chance is taken to rise smoothly.
    """
    from scipy.interpolate import PchipInterpolator

    days = np.array([0, *sorted(end for start, end in laws if start == 0)], dtype=float)
    beyond = int(np.floor(level)) + 1
    chance = [0.0] + [float(laws[0, int(d)].chances()[beyond:].sum()) for d in days[1:]]
    over = np.maximum.accumulate(np.array(chance))
    if over[-1] <= share:
        return float("inf")
    fine = np.arange(0.0, days[-1] + 0.25, 0.25)
    return float(fine[int(np.argmax(PchipInterpolator(days, over)(fine) > share))])


def _span(begin: pd.Timestamp, after: pd.Timestamp, months: float, first: pd.Timestamp) -> Span:
    return Span(
        from_date=begin,
        months=months,
        start=float((begin - first).days),
        days=float((after - begin).days),
    )
