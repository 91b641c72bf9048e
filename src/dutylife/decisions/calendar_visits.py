"""A part changed at calendar visits whatever its age: the spacing of such visits."""

import math
from typing import Any

from dutylife.components import Component, short_name
from dutylife.decisions.block_draws import block_replacement_weibull
from dutylife.decisions.cells import Cell
from dutylife.decisions.rounding import rounded
from dutylife.decisions.usage import DAYS_PER_WEEK
from dutylife.settings import PresentSchedule, Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH
from dutylife.wording import weeks


def schedule_of(
    cell: Cell, known: dict[str, Component], settings: Settings
) -> PresentSchedule | None:
    """The schedule the shop follows today for the component, under whichever name."""
    for given, schedule in settings.present_schedule.items():
        if short_name(given, known) == cell.component.name:
            return schedule
    return None


def by_calendar(
    row: dict[str, Any],
    cell: Cell,
    cost: dict[str, Any],
    schedule: PresentSchedule | None,
    settings: Settings,
) -> dict[str, Any]:
    """A replacement row with the spacing of calendar visits, where today's is by months alone.

    Parameters
    ----------
    row, cost : dict
        Rows of tables "intervals" and "costs".
    cell : Cell
    schedule : PresentSchedule or None
    settings : Settings

    Returns
    -------
    dict
        With ``block_interval_days``: every part in place changed at each visit, failed ones at
        once; never beyond the maker's limit, nor beyond today's spacing for what can hurt. The row
        itself where the schedule says hours, the record has no law, the use is not known or
        nothing is replaced.
    """
    calendar = schedule is not None and schedule.months is not None and schedule.hours is None
    if not calendar or row["task"] != "replace" or not cell.has_law:
        return row
    found = block_replacement_weibull(
        cell.shape, cell.scale, cell.weights,
        planned_cost=cost["planned_cost"], failure_cost=cost["failure_cost"],
    )  # fmt: skip
    days = cell.in_days(found.interval) if math.isfinite(found.interval) else None
    low, high = cell.in_days(found.lower), cell.in_days(found.upper)
    if days is None or low is None or high is None:
        return row
    months = schedule.months if schedule is not None and cell.component.can_hurt else None
    today = None if months is None else months * DAYS_PER_MONTH
    limits = [cell.component.maker_limit_days, _days_of_hours(cell), today]
    ceiling = min((v for v in limits if v is not None), default=math.inf)
    steps = tuple(DAYS_PER_WEEK * s for s in settings.workshop.interval_steps_weeks)
    spacing = rounded(days, low, high, steps, ceiling=ceiling).value
    told = f" Changed at calendar visits, whatever its age: every {weeks(spacing)} costs least."
    return row | {"block_interval_days": spacing, "sentence": row["sentence"] + told}


def _days_of_hours(cell: Cell) -> float | None:
    hours = cell.component.maker_limit_hours
    if hours is None or not cell.use_per_week:
        return None
    return hours / cell.use_per_week * DAYS_PER_WEEK
