"""Forecasts and levels of each month back, against the lines that came."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife import reports
from dutylife.backtest.methods import LAST_YEAR, OTHERS, chances_by
from dutylife.backtest.rolled import BOOKING_DELAY_DAYS, run_as_of
from dutylife.backtest.shelf import Level, replay
from dutylife.errors import DecisionError
from dutylife.pipeline import check
from dutylife.run_folder import swapped_in, write_tables
from dutylife.schema import as_table
from dutylife.settings import Settings, read_settings
from dutylife.stock import plan_stock
from dutylife.stock.levels import levels_of
from dutylife.stock.part_law import quantiles
from dutylife.stock.parts import current_numbers
from dutylife.stock.scored import SPANS, asked_by_day, end_of, looked_up, score_rows
from dutylife.stock.series import LEVELS
from dutylife.stock.shares import LIVES, SERIES, Series, monthly_series
from dutylife.stock.shelf import shelf_rows
from dutylife.stock.terms import Terms, terms_of
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
FORECAST = "forecast"  # of lives and series, weighted by the scores known by then
N_BACK = 6
WARM_UP_DAYS = 365  # replayed before, so that no shelf starts full


@dataclass(frozen=True, slots=True)
class Backtest:
    """A finished back-test: its folder, its tables, and what it found in words."""

    folder: Path
    tables: dict[str, pd.DataFrame]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Month:
    """What one rolled-back run said: quantiles by (part, months), levels by part; method first."""

    as_of: pd.Timestamp
    said: dict[str, dict[tuple[str, int], tuple[float, ...]]]
    levels: dict[str, dict[str, tuple[float, float]]]


def backtest(
    settings: str | Path | Settings,
    *,
    out: str | Path | None = None,
    n_back: int = N_BACK,
    progress: Callable[[str], None] | None = None,
) -> Backtest:
    """Roll the as-of date back month by month and score each forecast and level by what came.

    Parameters
    ----------
    settings : path or Settings
    out : path, optional
        Folder of the page and tables; ``reports/backtest`` when not given.
    n_back : int
        Months to go back.
    progress : callable, optional
        Called with each step.

    Returns
    -------
    Backtest
        Tables "forecast_scores" and "backtest_stock".

    Raises
    ------
    DutylifeError
        The input or settings can't be used, or the record is too short.
    """
    tell = progress or (lambda _: None)
    given = settings if isinstance(settings, Settings) else read_settings(settings)
    tell("reading what came")
    now = check(given)
    as_of = pd.Timestamp(now.info["as_of"])
    lines = now.tables["service_lines"]
    current = current_numbers(now.tables["catalogue"])
    daily, first = asked_by_day(lines, current, as_of)
    days = [as_of - pd.DateOffset(months=k) for k in range(n_back, 0, -1)]
    if not days or (days[0] - first).days < 12 * DAYS_PER_MONTH:
        raise DecisionError(
            f"The record from {first:%Y-%m-%d} is too short to go back {n_back} months.",
            "dutylife backtest", "go back fewer months: a year must be left before the first",
        )  # fmt: skip
    months: list[_Month] = []
    scores: list[dict[str, Any]] = []
    for day in days:
        tell(f"as of {day:%Y-%m-%d}")
        known = [r for r in scores if end_of(r["as_of"], r["months"]) <= day]
        month = _rolled(given, day.date(), current, known)
        months.append(month)
        scores += _scored(month, daily, first, as_of)
    tables = {
        "forecast_scores": as_table("forecast_scores", pd.DataFrame(scores)),
        "backtest_stock": _replayed(months, daily, first, as_of, now.tables["shelf"], given),
    }
    info = {
        "name": given.fleet.name, "as_of": f"{as_of:%Y-%m-%d}", "n_back": n_back,
        "currency": given.fleet.currency, "booking_delay_days": BOOKING_DELAY_DAYS,
    }  # fmt: skip
    folder = Path(out or Path("reports") / "backtest").absolute()
    with swapped_in(folder) as new:
        write_tables(tables, new / "tables")
        reports.write_backtest_page(new, tables, info)
    return Backtest(folder, tables, reports.backtest_answer(tables))


def _rolled(
    settings: Settings, day: dt.date, current: dict[str, str], known: list[dict[str, Any]]
) -> _Month:
    filled, t = run_as_of(settings, day)
    as_of = pd.Timestamp(day)
    made = {LIVES: {n: t[n] for n in ("demand_forecast", "stock_plan")}}
    made[FORECAST] = made[LIVES]
    if known:
        table = as_table("forecast_scores", pd.DataFrame(known))
        made[FORECAST] = plan_stock(
            t["failure_events"], t["life_draws"], t["intervals"], t["units"], t["unit_spans"],
            t["service_lines"], t["maintenance_events"], t["catalogue"], t["shelf"], filled,
            contracts=t["contracts"], forecast_scores=table, stated_plan=t["stated_plan"],
            use_seasons=t["use_seasons"],
        )  # fmt: skip
    said = {method: looked_up(own["demand_forecast"], as_of) for method, own in made.items()}
    levels = {method: _planned(own["stock_plan"]) for method, own in made.items()}
    horizon = (end_of(as_of, SPANS[-1]) - as_of).days
    series = monthly_series(t["service_lines"], current, as_of)
    shelf = shelf_rows(t["shelf"], {})
    for method in (SERIES, *OTHERS):
        said[method], levels[method] = {}, {}
        for number in sorted(series.pieces):
            for span in SPANS:
                length = (end_of(as_of, span) - as_of).days
                law = _law(method, series, number, length)
                said[method][number, span] = tuple(quantiles(law, LEVELS))
            terms = terms_of(number, shelf.get(number, {}), filled)
            levels[method][number] = _levels(method, series, number, terms, horizon)
    return _Month(as_of=as_of, said=said, levels=levels)


def _law(method: str, series: Series, number: str, days: float) -> Array:
    if method == SERIES:
        return series.chances(number, days)
    return chances_by(method, series.pieces[number], days / DAYS_PER_MONTH)


def _levels(
    method: str, series: Series, number: str, terms: Terms, horizon_days: int
) -> tuple[float, float]:
    """Order point and level, every method by the same rule.

    Last year's usage keeps an average month, as shops do.
    """
    if method == LAST_YEAR:
        month = float(np.ceil(series.pieces[number][-12:].mean() - 1e-9))
        return month, month
    found = levels_of(lambda days: _law(method, series, number, days), terms, horizon_days)
    return float(found.point), float(found.up_to)


def _planned(plan: pd.DataFrame) -> dict[str, tuple[float, float]]:
    return {
        str(r["part_number"]): (float(r["reorder_point"]), float(r["order_up_to"]))
        for r in plan.astype({"part_number": "object"}).to_dict("records")
    }


def _scored(
    month: _Month, daily: dict[str, Array], first: pd.Timestamp, as_of: pd.Timestamp
) -> list[dict[str, Any]]:
    """Rows of "forecast_scores" of one rolled-back run."""
    return score_rows(month.as_of, month.said, daily, first, as_of)


def _replayed(
    months: list[_Month], daily: dict[str, Array], first: pd.Timestamp, as_of: pd.Timestamp,
    shelf: pd.DataFrame, settings: Settings,
) -> pd.DataFrame:  # fmt: skip
    begin = (months[0].as_of - first).days + 1
    before = max(begin - WARM_UP_DAYS, 0)
    listed = shelf_rows(shelf, {})
    rows = []
    for method in months[0].levels:
        for number in sorted({n for m in months for n in m.levels[method]}):
            terms = terms_of(number, listed.get(number, {}), settings)
            levels = [
                Level(start=(m.as_of - months[0].as_of).days, point=point, up_to=up_to)
                for m in months
                for point, up_to in [m.levels[method].get(number, (0.0, 0.0))]
            ]
            n = (as_of - first).days + 1
            asked = daily.get(number, np.zeros(n))
            found = replay(asked[begin:], levels, terms, before=asked[before:begin])
            cost = terms.unit_cost
            rows.append(
                {
                    "part_number": number, "method": method, "asked": found.asked,
                    "given": found.given, "held_mean": found.held_mean,
                    "held_money": None if cost is None else cost * found.held_mean,
                    "n_orders": found.n_orders, "n_short_days": found.n_short_days,
                }
            )  # fmt: skip
    return as_table("backtest_stock", pd.DataFrame(rows))
