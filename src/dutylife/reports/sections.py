"""Every section a notebook can ask for, by page and name; one sentence for each page."""

import difflib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.decisions.comparison import comparison_sentence
from dutylife.errors import RunError
from dutylife.provenance import Run, open_run
from dutylife.reports import behind, packs
from dutylife.reports.evidence import (
    assumptions,
    comebacks,
    events_with_age,
    evidence_page,
    in_short,
    law_sections,
    moved_why,
    pooling,
)
from dutylife.reports.facts import Facts
from dutylife.reports.layout import Section
from dutylife.reports.maintenance import (
    coming_year,
    kept_section,
    maintenance_page,
    on_condition,
    present_schedule,
    task_choice,
    visits_section,
)
from dutylife.reports.stock import bench_load, moved, season_section, shelf_money, stock_page
from dutylife.reports.stock.safety_work import safety_sentence, safety_work
from dutylife.schema import empty_table
from dutylife.settings import Settings

SECTIONS: dict[str, Callable[[Run], Section]] = {
    "order today": stock_page.order_today,
    "why": stock_page.why,
    "demand": stock_page.demand,
    "demand by month": stock_page.demand_by_month,
    "before the season": season_section.before_the_season,
    "weeks ahead at the bench": bench_load.weeks_ahead,
    "shelf": stock_page.shelf,
    "dead stock": stock_page.dead_stock,
    "what moved": moved.moved_levels,
    "last forecast": moved.last_forecast,
    "money and waiting": shelf_money.money_and_waiting,
    "more than needed": shelf_money.excess,
    "next visits": visits_section.next_visits,
    "intervals in short": maintenance_page.intervals_in_short,
    "all visits": visits_section.visits_soon,
    "all intervals": maintenance_page.all_intervals,
    "what it saves": maintenance_page.what_it_saves,
    "what the plan changes": coming_year.what_the_plan_changes,
    "keep or retire": coming_year.keep_or_retire,
    "task choice": task_choice.task_choice,
    "what can hurt": maintenance_page.can_hurt,
    "cautions": maintenance_page.cautions,
    "kept since": kept_section.kept_since,
    "beside present": present_schedule.beside_present,
    "on condition": on_condition.on_condition,
    "customer packs": packs.customer_packs,
    "evidence in short": in_short.in_short,
    "rows": evidence_page.rows,
    "findings": evidence_page.findings,
    "not understood": evidence_page.not_understood,
    "set aside": evidence_page.set_aside,
    "what moved and why": moved_why.moved_why,
    "life models": evidence_page.life_models,
    "law checks": law_sections.law_checks,
    "part makers": law_sections.part_makers,
    "assumptions": assumptions.switched,
    "survival": law_sections.survival,
    "pooling": pooling.pooling,
    "behind intervals": behind.behind_intervals,
    "behind orders": behind.behind_orders,
    "comebacks": comebacks.comebacks,
    "recurrence": evidence_page.recurrence,
    "events with age": events_with_age.events_with_age,
    "provenance": evidence_page.provenance,
}

# to look things up in, long: a print has their heading and answer alone
ON_SCREEN = frozenset(
    {
        "demand", "demand by month", "weeks ahead at the bench", "shelf", "money and waiting",
        "dead stock", "what moved", "last forecast", "more than needed",
        "behind orders", "task choice", "all intervals", "behind intervals",
    }
)  # fmt: skip


def section(run: Run | str | Path, name: str) -> Section:
    """Return one section of a run's report, for a notebook cell.

    Parameters
    ----------
    run : Run, str or Path
        An opened run, or its folder.
    name : str
        Name of the section; all names are in ``SECTIONS``.

    Returns
    -------
    Section
        Shows itself in a notebook; ``.text`` is its sentences.

    Raises
    ------
    RunError
        There is no such section, or the run lacks a table it needs.
    """
    if name not in SECTIONS:
        near = difflib.get_close_matches(name, SECTIONS, n=1, cutoff=0.5)
        raise RunError(
            f"There is no section '{name}'.",
            "section(run, name)",
            (f"did you mean '{near[0]}'? " if near else "") + "known: " + ", ".join(SECTIONS),
        )
    made = SECTIONS[name](run if isinstance(run, Run) else open_run(run))
    shortened = name in ON_SCREEN and bool(made.sentences or made.parts)
    return replace(made, whole_on_paper=not shortened)


def answers(tables: dict[str, pd.DataFrame], settings: Settings) -> list[str]:
    """Return the sentence each page opens with, for the terminal and run.json.

    Parameters
    ----------
    tables : dict of DataFrame
        Tables of the run by name; ``stock_plan`` and ``visit_plan`` are read, and where there
        ``machine_tasks`` and ``plan_comparison``.
    settings : Settings
        With ``fleet.as_of`` filled.

    Returns
    -------
    list of str
    """
    if settings.fleet.as_of is None:
        raise ValueError("settings.fleet.as_of must be filled")
    given = Facts(
        fleet=settings.fleet.name,
        currency=settings.fleet.currency,
        meter_unit=settings.fleet.meter_unit,
        as_of=settings.fleet.as_of,
        plan_in_force=settings.plan.in_force,
        horizon_months=settings.report.horizon_months,
        confidence_level=settings.report.confidence_level,
    )
    out = [stock_page.order_answer(tables["stock_plan"], given.currency)]
    pending = safety_work(tables.get("machine_tasks", empty_table("machine_tasks")),
                          tables["stock_plan"], pd.Timestamp(given.as_of),
                          tables.get("maintenance_events"))  # fmt: skip
    if pending is not None and len(tables["stock_plan"]):
        out.append(safety_sentence(pending, tables["stock_plan"], given))
    out.append(visits_section.visit_answer(tables["visit_plan"], given))
    compared = tables.get("plan_comparison")
    if compared is not None and len(compared):
        out.append(comparison_sentence(compared, given.currency))
    return [text for text in out if text]


def plot(result: Any, *, age_unit: str = "age unit", money: str = "currency", **which: Any) -> Any:
    """Draw a result of models, decisions or stock, or a table of a run, on an Axes of its own.

    Parameters
    ----------
    result : object, or DataFrame
        Any result of the life models, decisions and stock questions; or ``failure_events``, a
        frame with age and survival, ``cost_curves``, ``demand_forecast`` (narrow them with
        ``which``).
    age_unit : str
        Unit of ages and times of a result, for its labels; it does not know it itself.
    money : str
        Unit of costs of a result, for its labels.
    **which
        Column = value, to pick the rows of a table, e.g. ``component="carburetor"``.

    Returns
    -------
    Axes
        With a plain sentence over it for a result.

    Raises
    ------
    RunError
        Nothing to draw, several curves where one is drawn, or an object of no known kind.
    """
    from dutylife.reports.plotting import plot_result
    from dutylife.reports.results import Units

    return plot_result(result, Units(age_unit, money), which)
