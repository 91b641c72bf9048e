"""Forecasts of kept months against what came since."""

import pandas as pd

from dutylife.history.snapshot import Snapshot
from dutylife.schema import as_table
from dutylife.stock.part_law import quantiles
from dutylife.stock.parts import current_numbers
from dutylife.stock.scored import SPANS, Said, asked_by_day, end_of, looked_up, score_rows
from dutylife.stock.series import LEVELS
from dutylife.stock.shares import LIVES, SERIES, Series, monthly_series

FORECAST = "forecast"
ENOUGH_MONTHS = 6  # kept months scored before they weigh in the stock by themselves; our proposal
_KEY = ["as_of", "part_number", "from_date", "months", "method"]


def own_scores(
    months: list[Snapshot],
    service_lines: pd.DataFrame,
    catalogue: pd.DataFrame,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """Table "forecast_scores" of every kept month whose spans have ended.

    Parameters
    ----------
    months : list of Snapshot
        Before ``as_of``, the oldest first.
    service_lines, catalogue : DataFrame
        Today's tables of those names.
    as_of : Timestamp
        Last day of today's record.

    Returns
    -------
    DataFrame
        Methods "forecast" (what was said), "lives" and "series". Scores that the last kept month
        had found stay as they are; only spans that ended since are looked at.
    """
    if not months:
        return as_table("forecast_scores", pd.DataFrame())
    before = months[-1].table("given", "forecast_scores")
    last = pd.Timestamp(months[-1].as_of)
    current = current_numbers(catalogue)
    daily, first = asked_by_day(service_lines, current, as_of)
    rows = []
    for month in months:
        day = pd.Timestamp(month.as_of)
        if not any(last < end_of(day, span) <= as_of for span in SPANS):
            continue
        said = _said(month, current, day)
        rows += [
            row
            for row in score_rows(day, said, daily, first, as_of)
            if end_of(day, row["months"]) > last
        ]
    new = as_table("forecast_scores", pd.DataFrame(rows))
    return joined(before, new)


def scores_to_use(given: pd.DataFrame | None, own: pd.DataFrame) -> pd.DataFrame | None:
    """Scores for the stock: those of a back-test, and the kept months'.

    Kept months alone are used once `ENOUGH_MONTHS` of them are scored: a month or two would turn
    every part from its lives to its series by chance.
    """
    if given is None:
        return own if own["as_of"].nunique() >= ENOUGH_MONTHS else None
    return joined(given, own)


def joined(one: pd.DataFrame, two: pd.DataFrame) -> pd.DataFrame:
    """Both tables of scores; where both score the same, the second one's row."""
    filled = [f.astype("object") for f in (one, two) if len(f)]
    both = pd.concat(filled) if filled else one
    return as_table("forecast_scores", both.drop_duplicates(_KEY, keep="last"))


def _said(month: Snapshot, current: dict[str, str], day: pd.Timestamp) -> Said:
    forecast = month.table("given", "demand_forecast")
    names = forecast["part_number"].astype("object")
    forecast = forecast.assign(part_number=names.map(lambda p: current.get(p, p)))
    series: Series = monthly_series(month.table("inputs", "service_lines"), current, day)
    own = {
        (number, span): tuple(
            quantiles(series.chances(number, (end_of(day, span) - day).days), LEVELS)
        )
        for number in sorted(series.pieces)
        for span in SPANS
    }
    return {
        FORECAST: looked_up(forecast, day),
        LIVES: looked_up(forecast, day, ("life_p50", "life_p80", "life_p95")),
        SERIES: own,
    }
