"""The stock stage: lives in service, laws and the plan in force to demand, levels and orders."""

from typing import Any

import pandas as pd

from dutylife.errors import DecisionError
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.stock import parts
from dutylife.stock.demand import Span, common_spans, days_ahead, forecast_rows
from dutylife.stock.fleet_demand import fleet_demand
from dutylife.stock.levels import days_asked
from dutylife.stock.money_curve import ShelfLine, days_on_curve, money_curve, shelf_line
from dutylife.stock.orders import stock_row
from dutylife.stock.part_law import quantiles
from dutylife.stock.plans import plans_of
from dutylife.stock.season_order import season_order_row, season_spans, seasons_ahead
from dutylife.stock.series import LEVELS
from dutylife.stock.shares import mix, monthly_series, shares_of_lives
from dutylife.stock.shelf import shelf_rows, stock_findings
from dutylife.stock.stream_terms import Laws
from dutylife.stock.terms import terms_of
from dutylife.vocabulary import TABLES

RUN_OUT_DAYS = (10.0, 20.0, 60.0, 120.0)  # ends of further spans: when the shelf runs out


def plan_stock(
    failure_events: pd.DataFrame,
    life_draws: pd.DataFrame,
    intervals: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    catalogue: pd.DataFrame,
    shelf: pd.DataFrame,
    settings: Settings,
    *,
    contracts: pd.DataFrame | None = None,
    forecast_scores: pd.DataFrame | None = None,
    stated_plan: pd.DataFrame | None = None,
    use_seasons: pd.DataFrame | None = None,
    levels_only: bool = False,
) -> dict[str, pd.DataFrame]:
    """Demand of every part and what to hold and order.

    Parameters
    ----------
    failure_events, life_draws, intervals, units, unit_spans : DataFrame
        The tables of those names.
    service_lines, maintenance_events, catalogue, shelf : DataFrame
        The tables of those names; ``shelf`` may have no rows.
    settings : Settings
        ``fleet.as_of`` filled; ``plan.in_force``, ``stock``, ``report``.
    contracts : DataFrame, optional
        Table "contracts": announced machines, new from their day on. One in a duty without
        machines counts in the duty where its class has most.
    forecast_scores : DataFrame, optional
        Table "forecast_scores" of past runs: how far each part goes by its lives and how far by
        its own series (`shares_of_lives`), under the plan in force. Without it, by its lives.
    stated_plan : DataFrame, optional
        Table "stated_plan", where the plan in force is a file.
    use_seasons : DataFrame, optional
        Table "use_seasons": months in which machines of a duty run more.
    levels_only : bool
        Only the plan in force and the spans that levels and orders follow from, which takes a
        third of the time; "demand_forecast" then has those, and `needed_by` is coarse
        and "money_curve" and "season_orders" have no rows.

    Returns
    -------
    dict of str to DataFrame
        "demand_forecast" under the plan in force and, as a second scenario, the recommended one;
        "stock_plan", "season_orders" and "money_curve" under the plan in force. All without rows
        where no part has a number. "findings": stock terms of parts nobody knows, parts not sold
        by the piece.

    Raises
    ------
    SettingsError
        ``plan.in_force`` names no plan, and no plan was read from a file.
    DecisionError
        ``fleet.as_of`` is not filled.

    Notes
    -----
    Exact renewal counts of the lives in service, of machines that come and of announced ones,
    mixed over the draws of each cell's law (`lattice`, `part_law`). A cell whose law is only the
    stated prior adds nothing: its parts are forecast from their own use.
    """
    if settings.fleet.as_of is None:
        raise DecisionError("Stock needs a day to start from.", "fleet.as_of", "fill it")
    as_of = pd.Timestamp(settings.fleet.as_of)
    plans = plans_of(settings, stated_plan)[: 1 if levels_only else None]
    on_shelf = shelf_rows(shelf, parts.current_numbers(catalogue))
    fleet = fleet_demand(
        failure_events, life_draws, intervals, units, unit_spans, service_lines,
        maintenance_events, catalogue, settings, contracts=contracts, on_shelf=tuple(on_shelf),
        stated_plan=stated_plan, use_seasons=use_seasons,
    )  # fmt: skip
    numbers = fleet.numbers
    terms = {n: terms_of(n, on_shelf.get(n, {}), settings) for n in numbers}
    spans = common_spans(as_of, settings.report.horizon_months)
    horizon = max(span.key[1] for span in spans if span.start == 0)
    spans = spans[-1:] if levels_only else spans  # the longest one
    further = [] if levels_only else [days_ahead(as_of, d) for d in RUN_OUT_DAYS]
    own_spans = {
        n: [
            days_ahead(as_of, d)
            for d in (
                t.protection_days,
                *days_asked(t, horizon),
                *(() if levels_only else days_on_curve(t)),
            )  # fmt: skip
        ]
        for n, t in terms.items()
    }
    seasons = [] if levels_only else seasons_ahead(settings, as_of)
    ahead = [span for season in seasons for span in season_spans(season, as_of)]
    told = [*spans, *(own[0] for own in own_spans.values())]
    asked = [*told, *further, *ahead, *(span for own in own_spans.values() for span in own[1:])]
    shares = shares_of_lives(forecast_scores, numbers)
    series = monthly_series(service_lines, fleet.current, as_of)
    forecast: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []
    ordered_ahead: list[dict[str, Any]] = []
    on_curve: list[ShelfLine] = []
    for plan in plans:
        # levels follow the plan in force only
        laws = fleet.laws(plan, asked if plan == plans[0] else told)
        for number in numbers:
            own = laws[number]
            share, n_scored = shares[number] if plan == plans[0] else (1.0, 0)
            by_lives = _by_lives(own, [*spans, own_spans[number][0]])
            if share < 1:
                for (start, end), law in own.items():
                    mix(law, series.chances(number, end - start), share)
            told_rows = forecast_rows(number, plan, own, [*spans, own_spans[number][0]])
            weighed = {"life_weight": share, "n_scored": n_scored}
            forecast += [r | weighed | by_lives[r["from_date"], r["months"]] for r in told_rows]
            if plan == plans[0]:
                row = stock_row(number, own, terms[number], as_of, settings, horizon)
                rows.append(row)
                ordered_ahead += [
                    season_order_row(
                        number, own, terms[number], season, settings, as_of, row["order_now"] or 0.0
                    )
                    for season in seasons
                    if season.supplier in (None, terms[number].supplier)
                ]
                if terms[number].unit_cost and not levels_only:
                    on_curve.append(shelf_line(row, own, terms[number]))
    component = parts.component_of_part(fleet.replaced, catalogue, fleet.current)
    words = _descriptions(service_lines, catalogue, shelf)
    return {
        "demand_forecast": _named("demand_forecast", forecast, component, words),
        "stock_plan": _named("stock_plan", rows, component, words),
        "season_orders": _named("season_orders", ordered_ahead, component, words),
        "money_curve": money_curve(on_curve).table,
        "findings": stock_findings(
            service_lines, numbers, settings, sorted({c for p in plans for c in fleet.gathered(p)})
        ),
    }


def _by_lives(own: Laws, spans: list[Span]) -> dict[tuple[pd.Timestamp, float], dict[str, float]]:
    """Quantiles before any series is mixed in: later, both are held against what came."""
    named = ("life_p50", "life_p80", "life_p95")
    return {
        (s.from_date, s.months): dict(
            zip(named, quantiles(own[s.key].chances(), LEVELS), strict=True)
        )
        for s in spans
    }


def _descriptions(
    service_lines: pd.DataFrame, catalogue: pd.DataFrame, shelf: pd.DataFrame
) -> dict[str, str]:
    """Return a description of each part: the shelf's, else the catalogue's, else the lines'."""
    lines = service_lines[["part_number", "description"]].astype(object).dropna()
    counts = lines.value_counts(sort=False).rename("n").reset_index()
    counts = counts.sort_values(["part_number", "n", "description"], ascending=[True, False, True])
    out: dict[str, str] = {}
    for frame in (counts.drop_duplicates("part_number"), catalogue, shelf):
        pairs = frame[["part_number", "description"]].astype(object).dropna()
        out |= dict(pairs.itertuples(index=False, name=None))
    return out


def _named(
    table: str, rows: list[dict[str, Any]], component: dict[str, str], words: dict[str, str]
) -> pd.DataFrame:
    if not rows:
        return as_table(table, pd.DataFrame(columns=list(TABLES[table].columns)))
    frame = pd.DataFrame(rows)
    number = frame["part_number"]
    return as_table(
        table, frame.assign(component=number.map(component), description=number.map(words))
    )
