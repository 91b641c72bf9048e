"""Laws and costs to recommended intervals: one pass over the component x duty cells."""

from typing import Any

import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.calendar_visits import by_calendar, schedule_of
from dutylife.decisions.cells import Cell, cells_of
from dutylife.decisions.costs import task_costs
from dutylife.decisions.looking import look_rows
from dutylife.decisions.looks_seen import LooksSeen, looks_seen
from dutylife.decisions.measuring import measured_cells
from dutylife.decisions.replacing import replacement_row
from dutylife.decisions.task_choice import choose_task
from dutylife.decisions.usage import duty_use
from dutylife.decisions.warning_times import sign_words
from dutylife.decisions.work_cautions import cautions_for
from dutylife.schema import as_table
from dutylife.settings import PresentSchedule, Settings
from dutylife.vocabulary import TABLES
from dutylife.vocabulary.spans import DAYS_PER_MONTH
from dutylife.wording import every


def recommend_intervals(
    life_draws: pd.DataFrame,
    life_models: pd.DataFrame,
    failure_events: pd.DataFrame,
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    shelf: pd.DataFrame | None = None,
    readings: pd.DataFrame | None = None,
    catalogue: pd.DataFrame | None = None,
) -> dict[str, pd.DataFrame]:
    """When to replace and when to look, for each component in each duty.

    Parameters
    ----------
    life_draws, life_models, failure_events : DataFrame
        The tables of those names.
    service_lines, maintenance_events, unit_spans : DataFrame
        The tables of those names.
    settings : Settings
        Costs, the present schedule, severe duties, limits.
    shelf : DataFrame, table "shelf", optional
        What the shop pays for its parts.
    readings, catalogue : DataFrame, the tables of those names, optional
        With both, measurements are spaced by the drift of readings towards the parts' own limits.

    Returns
    -------
    dict of str to DataFrame
        Tables "costs", "intervals", "task_choice", "cost_curves". Ages of the curves are on the
        row's clock;
        money is per 1000 meter units, per 1000 days where a duty's use is not known.

    Raises
    ------
    DecisionError
        Settings state a failure that costs no more than planned work, or a cell has no usable law.

    Notes
    -----
    The replacement age minimises the mean over draws of the long-run cost rate and is rounded to
    the shop's steps. ``_lower`` and ``_upper`` bound the ages whose cost lies within 2 % of the
    best. A part is replaced where the pooled chance that its risk rises with age is 0.9 or more and
    money is expected to be saved; no word of certainty and no bound of a cell switches it off.
    What can hurt is never run to failure nor replaced later than by the present schedule, and the
    maker's limit is a ceiling for everything.
    """
    known = components_of(settings)
    use = duty_use(unit_spans, settings)
    cells = cells_of(life_draws, life_models, failure_events, known, use, settings)
    pairs = [(c.component.name, c.duty) for c in cells]
    costs = task_costs(pairs, known, service_lines, maintenance_events, unit_spans, settings, shelf)
    seen = looks_seen(maintenance_events, unit_spans)
    measured = measured_cells(cells, readings, catalogue, unit_spans, known, settings.report.seed)
    by_cell: dict[tuple[str, str], dict[str, dict[str, Any]]] = {}
    for cost in costs.to_dict("records"):
        named = {str(key): value for key, value in cost.items()}
        by_cell.setdefault((named["component"], named["duty"]), {})[named["task"]] = named
    rows: list[dict[str, Any]] = []
    curves: list[pd.DataFrame] = []
    choices: list[pd.DataFrame] = []
    for cell in cells:
        own_costs = by_cell[cell.component.name, cell.duty]
        schedule = schedule_of(cell, known, settings)
        present = _present(schedule, settings)
        row, curve = replacement_row(cell, own_costs["replace"], present, settings, schedule)
        mine = (
            [by_calendar(row, cell, own_costs["replace"], schedule, settings)]
            if row is not None
            else []
        )
        key = (cell.component.name, cell.duty)
        looked, drift = seen.get(key, LooksSeen()), measured.get(key)
        sign = sign_words(cell, looked, drift, settings)
        mine += look_rows(
            cell, own_costs, present if row is None else "", settings,
            looked, drift, mine[0] if mine else None,
        )  # fmt: skip
        choices.append(choose_task(cell, mine, own_costs, sign, settings).table)
        cautions = ";".join(cautions_for(cell.component))
        rows += [r | {"cautions": cautions} for r in mine]
        if curve is not None:
            curves.append(_curve(cell, curve.table))
    return {
        "costs": as_table("costs", _frame("costs", costs)),
        "intervals": as_table("intervals", _frame("intervals", pd.DataFrame(rows))),
        "task_choice": as_table(
            "task_choice",
            _frame("task_choice", pd.concat(choices) if choices else pd.DataFrame()),
        ),
        "cost_curves": as_table(
            "cost_curves",
            _frame("cost_curves", pd.concat(curves) if curves else pd.DataFrame()),
        ),
    }


def _curve(cell: Cell, table: pd.DataFrame) -> pd.DataFrame:
    factor = cell.per_1000_hours(1.0)
    return pd.DataFrame(
        {
            "component": cell.component.name,
            "duty": cell.duty,
            "clock": cell.clock,
            "age": table["age"],
            "cost_per_1000_hours": factor * table["cost_rate"],
            "cost_per_1000_hours_lower": factor * table["cost_rate_lower"],
            "cost_per_1000_hours_upper": factor * table["cost_rate_upper"],
        }
    )


def _present(schedule: PresentSchedule | None, settings: Settings) -> str:
    """The schedule followed today, in words."""
    if schedule is None:
        return ""
    days = None if schedule.months is None else schedule.months * DAYS_PER_MONTH
    return f"every {every(schedule.hours, days, '', settings.fleet.meter_unit)}"


def _frame(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Give a frame without rows its columns."""
    return frame if len(frame) else pd.DataFrame(columns=list(TABLES[name].columns))
