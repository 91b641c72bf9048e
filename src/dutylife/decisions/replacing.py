"""The replacement row of a cell: an age, the maker's limit, a starting value, or run to failure."""

import math
from typing import Any

from dutylife.decisions.age_weibull import AgeReplacementDraws, age_replacement_weibull
from dutylife.decisions.cells import Cell
from dutylife.decisions.starting import Start, replacement_of
from dutylife.settings import Settings
from dutylife.wording import (
    age_range,
    every,
    limit_sentence,
    one_clock,
    record_behind,
    replace_sentence,
    run_to_failure_sentence,
    starting_sentence,
    weeks,
)

SMALL_SAVING = 0.01
# under this many failures of its own a record is too thin to drop a replacement the trade makes
THIN_FAILURES = 5


def replacement_row(
    cell: Cell, cost: dict[str, Any], present: str, settings: Settings
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

    Returns
    -------
    tuple
        The row is None for a component that can hurt and has no replacement worth making: it
        gets looks only, never "run to failure".
    """
    start = replacement_of(cell.component, severe=cell.severe)
    curve = None
    if cell.has_law:
        curve = age_replacement_weibull(
            cell.shape, cell.scale, cell.weights,
            planned_cost=cost["planned_cost"], failure_cost=cost["failure_cost"],
            longest_age=cell.longest_age, confidence_level=settings.report.confidence_level,
        )  # fmt: skip
    if curve is not None and pays(curve):
        row = _paying_row(cell, curve, settings)
    elif start is not None and (curve is None or cell.n_failed < THIN_FAILURES):
        row = _starting_row(cell, start, curve, settings)
    else:
        row = _failing_row(cell, curve, could_pay=curve is not None and _later(cell, cost))
    row = _under_limit(row, cell, settings)
    if row["task"] == "run to failure" and cell.component.can_hurt:
        return None, curve
    row["sentence"] += _asides(cell, row, cost, start, present, settings)
    return row, curve


def pays(curve: AgeReplacementDraws) -> bool:
    """Replacing saves at least 1 %, at an age that has been seen."""
    return curve.saving >= SMALL_SAVING and not curve.beyond_seen


def _base(cell: Cell, task: str) -> dict[str, Any]:
    return {
        "component": cell.component.name, "duty": cell.duty, "task": task,
        "n_failed": cell.n_failed, "basis": cell.basis, "can_hurt": cell.component.can_hurt,
        "clock": cell.clock, "mark": None,
    }  # fmt: skip


def _paying_row(cell: Cell, curve: AgeReplacementDraws, settings: Settings) -> dict[str, Any]:
    row = _base(cell, "replace") | _money(cell, curve)
    row |= both_clocks(cell, curve.best_age, curve.best_lower, curve.best_upper)
    unit = settings.fleet.meter_unit
    other = "days" if cell.clock == "hours" else "hours"
    row["sentence"] = replace_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=one_clock(row["interval_hours"], row["interval_days"], cell.clock, unit),
        also=one_clock(row["interval_hours"], row["interval_days"], other, unit),
        flat=age_range(curve.best_lower, curve.best_upper, cell.clock, unit),
        record=_record(cell),
        saving=curve.saving,
        probability=curve.probability_it_pays,
    )
    return row


def _starting_row(
    cell: Cell, start: Start, curve: AgeReplacementDraws | None, settings: Settings
) -> dict[str, Any]:
    row = _base(cell, "replace") | {"basis": "starting value", "mark": start.mark, "clock": None}
    row |= {"interval_hours": start.hours, "interval_days": start.days}
    record = record_behind(cell.n_failed, cell.n_lives, "own data")
    if curve is not None:
        record += ", too few to drop it"
    row["sentence"] = starting_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=every(start.hours, start.days, "", settings.fleet.meter_unit),
        mark=start.mark,
        record=record,
    )
    return fill_by_use(row, cell)


def _later(cell: Cell, cost: dict[str, Any]) -> bool:
    """Whether the law, carried beyond the longest life seen, would have a replacement pay."""
    far = age_replacement_weibull(
        cell.shape, cell.scale, cell.weights,
        planned_cost=cost["planned_cost"], failure_cost=cost["failure_cost"],
        longest_age=max(cell.longest_age, 4 * float(cell.weights @ cell.scale)),
    )  # fmt: skip
    return far.saving >= SMALL_SAVING and far.best_age > cell.longest_age


def _failing_row(
    cell: Cell, curve: AgeReplacementDraws | None, *, could_pay: bool
) -> dict[str, Any]:
    row = _base(cell, "run to failure")
    if curve is None:
        row["basis"] = "starting value"
        row["mark"] = "our proposal"
        why = "the record says too little and no starting interval is known"
    else:
        rate = cell.per_1000_hours(curve.cost_rate_run_to_failure)
        row |= {"cost_per_1000_hours": rate, "cost_per_1000_hours_run_to_failure": rate}
        row["probability_it_pays"] = curve.probability_it_pays
        if could_pay:
            days = cell.in_days(cell.longest_age)
            seen = weeks(days) if days is not None else "seen"
            why = f"a replacement could pay only beyond the longest life seen ({seen})"
        elif curve.saving > 0:
            why = "replacing ahead of failure hardly differs (under 1 %)"
        else:
            why = "replacing ahead of failure costs no less at any age seen"
    row["sentence"] = run_to_failure_sentence(
        component=cell.component.name, duty=cell.duty, record=_record(cell), why=why
    )
    return row


def _under_limit(row: dict[str, Any], cell: Cell, settings: Settings) -> dict[str, Any]:
    """Bring the row under the maker's or legal limit, which is a ceiling always."""
    limit_hours = cell.component.maker_limit_hours
    limit_days = cell.component.maker_limit_days
    if limit_hours is None and limit_days is None:
        return row
    hours, days = row.get("interval_hours"), row.get("interval_days")
    new_hours = _least(hours, limit_hours)
    new_days = _least(days, limit_days)
    if row["task"] == "replace" and new_hours == hours and new_days == days:
        return row  # the limit is known and does not bind
    out = {k: v for k, v in row.items() if not k.endswith(("_lower", "_upper"))}
    out |= {"task": "replace", "interval_hours": new_hours, "interval_days": new_days}
    # the cost was that of another age
    out |= {"clock": None, "cost_per_1000_hours": math.nan, "probability_it_pays": math.nan}
    out["sentence"] = limit_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=every(new_hours, new_days, "", settings.fleet.meter_unit),
        record=_record(cell),
    )
    return out


def _money(cell: Cell, curve: AgeReplacementDraws) -> dict[str, Any]:
    return {
        "cost_per_1000_hours": cell.per_1000_hours(curve.cost_rate),
        "cost_per_1000_hours_run_to_failure": cell.per_1000_hours(curve.cost_rate_run_to_failure),
        "probability_it_pays": curve.probability_it_pays,
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


def _least(one: float | None, other: float | None) -> float | None:
    given = [v for v in (one, other) if v is not None and math.isfinite(v)]
    return min(given) if given else None


def _asides(
    cell: Cell,
    row: dict[str, Any],
    cost: dict[str, Any],
    start: Start | None,
    present: str,
    settings: Settings,
) -> str:
    """What stands beside the recommendation: today's schedule, the starting value, the money."""
    notes = []
    if present:
        notes.append(f"today: {present}")
    if start is not None and row["basis"] != "starting value":
        at = every(start.hours, start.days, "", settings.fleet.meter_unit)
        notes.append(f"starting value: {at} ({start.mark})")
    if row["basis"] != "starting value":
        if cost["is_relative"]:
            notes.append(
                "no money is known: costs are in planned replacements, a failure taken as 3"
            )
        elif cost["basis"] == "our proposal":
            notes.append("what a failure or the planned work costs is our proposal: state [costs]")
        if cell.use_per_week is None and cell.clock != "hours":
            notes.append("use is not known: costs are per 1000 days")
    return " " + " ".join(f"{n[0].upper()}{n[1:]}." for n in notes) if notes else ""
