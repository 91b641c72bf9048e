"""The replacement row of a cell: an age, the maker's limit, a starting value, or run to failure."""

import math
from typing import Any

from dutylife.decisions.age_advice import (
    WEARS,
    ReplacementAdvice,
    holds_waiting,
    replacement_advice,
)
from dutylife.decisions.age_weibull import AgeReplacementDraws, age_replacement_weibull
from dutylife.decisions.cells import Cell
from dutylife.decisions.limits import ask_the_maker, under_limit
from dutylife.decisions.replacing_notes import asides
from dutylife.decisions.starting import Start, replacement_of
from dutylife.decisions.steps import steps_of
from dutylife.settings import PresentSchedule, Settings
from dutylife.wording import (
    age_range,
    every,
    one_clock,
    percent,
    record_behind,
    replace_sentence,
    run_to_failure_sentence,
    starting_sentence,
)

# under this many failures of its own a record is too thin to drop a replacement the trade makes
THIN_FAILURES = 5
_CURVE_BEYOND = 1.25  # a curve goes on behind an age advised beyond the longest life seen


def replacement_row(
    cell: Cell,
    cost: dict[str, Any],
    present: str,
    settings: Settings,
    schedule: PresentSchedule | None = None,
) -> tuple[dict[str, Any] | None, AgeReplacementDraws | None]:
    """Row of table "intervals" for replacing (or not), and the curve where the record speaks.

    Parameters
    ----------
    cell : Cell
    cost : dict
        Row of table "costs" for replacing.
    present : str
        The schedule followed today in words, blank when none.
    settings : Settings
    schedule : PresentSchedule, optional
        The same in figures: a ceiling for what can hurt.

    Returns
    -------
    tuple
        The row is None for a component that can hurt and has no replacement worth making: it
        gets looks only, never "run to failure".
    """
    start = replacement_of(cell.component, severe=cell.severe)
    curve = advice = None
    if cell.has_law:
        advice = advice_for(cell, cost, settings)
        far = _CURVE_BEYOND * advice.interval if advice.pays else 0.0
        curve = age_replacement_weibull(
            cell.shape, cell.scale, cell.weights,
            planned_cost=cost["planned_cost"], failure_cost=cost["failure_cost"],
            longest_age=max(cell.longest_age, far if advice.beyond_seen else 0.0),
            confidence_level=settings.report.confidence_level,
        )  # fmt: skip
    if advice is not None and advice.pays:
        row = _paying_row(cell, cost, advice, settings)
    elif start is not None and (advice is None or cell.n_failed < THIN_FAILURES):
        row = _starting_row(cell, start, settings, thin=advice is not None)
    else:
        row = _failing_row(cell, cost, advice)
    row = under_limit(row, cell, settings, _record(cell), schedule)
    if row["task"] == "run to failure" and cell.component.can_hurt:
        return None, curve
    row["sentence"] += asides(cell, row, cost, start, present, settings)
    row["sentence"] += ask_the_maker(cell.component)
    return row, curve


def advice_for(cell: Cell, cost: dict[str, Any], settings: Settings) -> ReplacementAdvice:
    """Replacement age of a cell's law, rounded to the shop's steps.

    What can hurt is not replaced later than the longest life seen: nobody knows what comes there.
    """
    return replacement_advice(
        cell.shape, cell.scale, cell.weights,
        planned_cost=cost["planned_cost"], failure_cost=cost["failure_cost"],
        longest_seen=cell.longest_age, steps=steps_of(cell.clock, settings),
        ceiling=cell.longest_age if cell.component.can_hurt else math.inf,
        confidence_level=settings.report.confidence_level, component_wears=cell.component_wears,
    )  # fmt: skip


def _base(cell: Cell, task: str) -> dict[str, Any]:
    return {
        "component": cell.component.name, "duty": cell.duty, "task": task,
        "n_failed": cell.n_failed, "basis": cell.basis, "can_hurt": cell.component.can_hurt,
        "clock": cell.clock, "mark": None,
    }  # fmt: skip


def _paying_row(
    cell: Cell, cost: dict[str, Any], advice: ReplacementAdvice, settings: Settings
) -> dict[str, Any]:
    row = _base(cell, "replace") | _ratio(cost, advice.holds_lower, advice.holds_upper)
    row |= _money(cell, cost, advice)
    row |= both_clocks(cell, advice.interval, advice.lower, advice.upper)
    unit = settings.fleet.meter_unit
    other = "days" if cell.clock == "hours" else "hours"
    row["sentence"] = replace_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=one_clock(row["interval_hours"], row["interval_days"], cell.clock, unit),
        also=one_clock(row["interval_hours"], row["interval_days"], other, unit),
        flat=age_range(advice.lower, advice.upper, cell.clock, unit),
        record=_record(cell),
        saving=advice.saving,
        probability=advice.probability_it_pays,
    )
    if advice.beyond_seen:
        days = cell.in_days(cell.longest_age)
        seen = one_clock(cell.longest_age, days, cell.clock, unit)
        row["sentence"] += f" That is beyond the longest life seen ({seen})."
    return row


def _starting_row(cell: Cell, start: Start, settings: Settings, *, thin: bool) -> dict[str, Any]:
    row = _base(cell, "replace") | {"basis": "starting value", "mark": start.mark, "clock": None}
    row |= {"interval_hours": start.hours, "interval_days": start.days}
    record = record_behind(cell.n_failed, cell.n_lives, "own data")
    if thin:
        record += ", too few to drop it"
    row["sentence"] = starting_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=every(start.hours, start.days, "", settings.fleet.meter_unit),
        mark=start.mark,
        record=record,
    )
    return fill_by_use(row, cell)


def _failing_row(
    cell: Cell, cost: dict[str, Any], advice: ReplacementAdvice | None
) -> dict[str, Any]:
    row = _base(cell, "run to failure")
    if advice is None:
        row["basis"] = "starting value"
        row["mark"] = "our proposal"
        why = "the record says too little and no starting interval is known"
    else:
        rate = cell.per_1000_hours(advice.cost_rate_run_to_failure)
        if not cost["is_relative"]:
            row |= {"cost_per_1000_hours": rate, "cost_per_1000_hours_run_to_failure": rate}
        row["probability_it_pays"] = advice.probability_it_pays
        row["probability_wears"] = advice.probability_wears
        top = holds_waiting(cell.shape, cell.scale, cell.weights, cell.longest_age)
        row |= _ratio(cost, 1.0, top)
        why = _why_not(advice)
    row["sentence"] = run_to_failure_sentence(
        component=cell.component.name, duty=cell.duty, record=_record(cell), why=why
    )
    return row


def _why_not(advice: ReplacementAdvice) -> str:
    if advice.saving_rate > 0 and advice.probability_wears < WEARS:
        chance = percent(advice.probability_wears)
        return (
            f"that risk rises with age has a chance of {chance}, {percent(WEARS)} is asked for "
            "before a working part is changed"
        )
    return "replacing ahead of failure costs no less at any age"


def _money(cell: Cell, cost: dict[str, Any], advice: ReplacementAdvice) -> dict[str, Any]:
    """Money of an advice; blank where no money is known, only how costs compare."""
    out: dict[str, Any] = {
        "probability_it_pays": advice.probability_it_pays,
        "probability_wears": advice.probability_wears,
    }
    if cost["is_relative"]:
        return out
    out |= {
        "cost_per_1000_hours": cell.per_1000_hours(advice.cost_rate),
        "cost_per_1000_hours_run_to_failure": cell.per_1000_hours(advice.cost_rate_run_to_failure),
    }
    yearly = cell.per_year
    saved = {
        "": advice.saving_rate, "_lower": advice.saving_rate_lower,
        "_upper": advice.saving_rate_upper,
    }  # fmt: skip
    for end, rate in saved.items():
        out[f"saving_per_1000_hours_cost{end}"] = cell.per_1000_hours(rate)
        out[f"saving_per_year_cost{end}"] = None if yearly is None else rate * yearly
    return out


def _ratio(cost: dict[str, Any], lower: float, upper: float) -> dict[str, Any]:
    return {
        "cost_ratio": cost["failure_cost"] / cost["planned_cost"],
        "advice_holds_ratio_lower": lower,
        "advice_holds_ratio_upper": upper,
    }


def both_clocks(cell: Cell, best: float, lower: float, upper: float) -> dict[str, Any]:
    """Interval and its bounds on both clocks, as far as the use is known."""
    ages = {"": best, "_lower": lower, "_upper": upper}
    hours = {f"interval_hours{end}": cell.in_hours(age) for end, age in ages.items()}
    return hours | {f"interval_days{end}": cell.in_days(age) for end, age in ages.items()}


def fill_by_use(row: dict[str, Any], cell: Cell) -> dict[str, Any]:
    """Fill the clock a starting value does not state from the duty's use."""
    hours, days, use = row["interval_hours"], row["interval_days"], cell.use_per_week
    if hours is None and days is not None:
        return row | {"interval_hours": days / 7 * use if use else None, "clock": "days"}
    if days is None and hours is not None:
        return row | {"interval_days": hours / use * 7 if use else None, "clock": "hours"}
    return row


def _record(cell: Cell) -> str:
    return record_behind(cell.n_failed, cell.n_lives, cell.basis)
