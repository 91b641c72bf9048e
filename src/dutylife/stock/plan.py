"""The stock stage: lives in service, laws and the plan in force to demand, levels and orders."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.billed import event_lines
from dutylife.decisions.current import current_lives
from dutylife.decisions.usage import unit_use
from dutylife.errors import DecisionError
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.stock import parts
from dutylife.stock.comings import Contract, contracts_ahead, flow_of
from dutylife.stock.demand import Span, common_spans, days_ahead, forecast_rows, protection_span
from dutylife.stock.orders import stock_row, terms_of
from dutylife.stock.part_law import quantiles
from dutylife.stock.plans import done_share, planned_ages, plans_of, seen_rates
from dutylife.stock.series import LEVELS
from dutylife.stock.shares import mix, monthly_series, shares_of_lives
from dutylife.stock.streams import IN_SERVICE, Inputs, Laws, part_laws, told_cells
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
    levels_only : bool
        Only the plan in force and the spans that levels and orders follow from, which takes a
        third of the time; "demand_forecast" then has those, and `needed_by` is coarse.

    Returns
    -------
    dict of str to DataFrame
        "demand_forecast" under the plan in force and, as a second scenario, the recommended one;
        "stock_plan" under the plan in force. Both without rows where no part has a number.

    Raises
    ------
    SettingsError
        ``plan.in_force`` names no plan.
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
    known = components_of(settings)
    plans = plans_of(settings)[: 1 if levels_only else None]
    current = parts.current_numbers(catalogue)
    replaced = parts.replacements_seen(maintenance_events, current)
    lives = _lives(failure_events, life_draws, units, unit_spans, replaced, as_of, settings)
    explained = _explained_lines(replaced, failure_events, lives)
    other = parts.other_use(service_lines, explained, current, as_of)
    on_shelf = _shelf_rows(shelf)
    for number in on_shelf:
        months = next(iter(other.values())).months if other else parts.OTHER_MONTHS
        other.setdefault(number, parts.OtherUse(n_lines=0.0, months=months, sizes=np.empty(0)))
    numbers = sorted(set(other) | set(lives["part"]))
    terms = {n: terms_of(n, on_shelf.get(n, {}), settings) for n in numbers}
    spans = common_spans(as_of, settings.report.horizon_months)
    spans = spans[-1:] if levels_only else spans  # the longest one
    further = [] if levels_only else [days_ahead(as_of, d) for d in RUN_OUT_DAYS]
    own_spans = {
        n: [protection_span(as_of, t.protection_days), days_ahead(as_of, t.review_days)]
        for n, t in terms.items()
    }
    told = [*spans, *(own[0] for own in own_spans.values())]
    asked = [*told, *further, *(own[1] for own in own_spans.values())]
    inputs = Inputs(
        lives=lives,
        life_draws=life_draws,
        rates=seen_rates(failure_events, units),
        shares=parts.share_using_part(maintenance_events, known),
        pieces=parts.pieces_each(replaced),
        other=other,
        spans=asked,
        flow=flow_of(units, as_of),
        contracts=_announced(contracts, lives, as_of),
        done=done_share(failure_events, known, settings),
    )
    cells = sorted(set(lives[["component", "duty"]].itertuples(index=False, name=None)))
    shares = shares_of_lives(forecast_scores, numbers)
    series = monthly_series(service_lines, current, as_of)
    forecast: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []
    for plan in plans:
        if plan != plans[0]:  # levels follow the plan in force only
            inputs = replace(inputs, spans=told)
        laws = part_laws(inputs, plan, planned_ages(plan, cells, intervals, known, settings))
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
                rows.append(stock_row(number, own, terms[number], as_of, settings))
    component = parts.component_of_part(replaced, catalogue, current)
    words = _descriptions(service_lines, catalogue, shelf)
    return {
        "demand_forecast": _named("demand_forecast", forecast, component, words),
        "stock_plan": _named("stock_plan", rows, component, words),
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


def _announced(
    contracts: pd.DataFrame | None, lives: pd.DataFrame, as_of: pd.Timestamp
) -> list[Contract]:
    """Contracts to come, each in a duty that has machines."""
    if contracts is None or contracts.empty:
        return []
    machines = lives.drop_duplicates("unit_id").groupby(["equipment_class", "duty"]).size()
    rows = machines.rename("n").reset_index().to_dict("records")
    out = []
    for contract in contracts_ahead(contracts, as_of):
        of_class = {
            str(r["duty"]): int(r["n"])
            for r in rows
            if r["equipment_class"] == contract.equipment_class
        }
        duty = contract.duty
        if duty not in set(lives["duty"]) and of_class:
            duty = max(sorted(of_class), key=lambda d: of_class[d])
        out.append(replace(contract, duty=duty))
    return out


def _lives(
    failure_events: pd.DataFrame,
    life_draws: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    replaced: pd.DataFrame,
    as_of: pd.Timestamp,
    settings: Settings,
) -> pd.DataFrame:
    """Lives in service whose law stands on the record and whose next part has a number."""
    use = unit_use(units, unit_spans, settings)
    if use.notna().any():  # a machine of unknown use runs like the fleet's usual one
        use = use.fillna(use.median())
    lives = current_lives(failure_events, units, use, as_of)
    lives = lives[lives["prob_in_service"] > IN_SERVICE]
    lives = lives.assign(part=parts.next_part(lives, replaced))
    clocks = (
        life_draws[["component", "duty", "clock"]]
        .astype(object)
        .drop_duplicates(["component", "duty"])
    )
    lives = lives.merge(clocks, on=["component", "duty"], how="left")
    cells = told_cells(life_draws)
    told = [pair in cells for pair in zip(lives["component"], lives["duty"], strict=True)]
    can_tell = (lives["clock"] != "hours") | lives["use"].notna()
    keep = pd.Series(told, index=lives.index, dtype=bool) & can_tell & lives["part"].notna()
    return lives[keep].sort_values(["component", "duty", "unit_id", "position"], kind="stable")


def _explained_lines(
    replaced: pd.DataFrame, failure_events: pd.DataFrame, lives: pd.DataFrame
) -> set[str]:
    """line_id of the part lines that lives in service stand for; comebacks are not lives."""
    cells = lives[["component", "duty"]].drop_duplicates()
    past = failure_events[["unit_id", "component", "duty"]].astype(object)
    of_cells = past.merge(cells, on=["component", "duty"])
    pairs = set(of_cells[["unit_id", "component"]].itertuples(index=False, name=None))
    own = [p in pairs for p in zip(replaced["unit_id"], replaced["component"], strict=True)]
    events = replaced[pd.Series(own, index=replaced.index, dtype=bool) & ~replaced["is_comeback"]]
    return set(event_lines(events.assign(row=range(len(events))))["line_id"])


def _shelf_rows(shelf: pd.DataFrame) -> dict[str, dict[str, Any]]:
    rows = shelf.astype({"part_number": "object", "supplier": "object"}).to_dict("records")
    return {str(r["part_number"]): {str(k): v for k, v in r.items()} for r in rows}


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
