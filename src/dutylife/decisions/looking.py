"""The look rows of a cell: inspect, measure, clean or test, and how often."""

from dataclasses import replace
from typing import Any

from dutylife.decisions.age_weibull import weibull_mean
from dutylife.decisions.cells import Cell
from dutylife.decisions.hidden_looks import is_hidden, test_interval
from dutylife.decisions.limits import ask_the_maker
from dutylife.decisions.look_words import look_words
from dutylife.decisions.looks import (
    InspectionInterval,
    inspection_interval,
    share_failing_before_look,
)
from dutylife.decisions.looks_before import before_replacement
from dutylife.decisions.looks_seen import LooksSeen
from dutylife.decisions.measuring import MeasuringInterval
from dutylife.decisions.replacing import both_clocks, fill_by_use
from dutylife.decisions.rounding import rounded
from dutylife.decisions.starting import (
    Start,
    WarningTime,
    looks_of,
)
from dutylife.decisions.steps import steps_of
from dutylife.decisions.warning_times import warning_used
from dutylife.settings import Settings
from dutylife.wording import every


def look_rows(
    cell: Cell,
    costs: dict[str, dict[str, Any]],
    present: str,
    settings: Settings,
    seen: LooksSeen,
    measured: MeasuringInterval | None,
    replacement: dict[str, Any] | None = None,
) -> list[dict[str, Any]]:
    """Rows of table "intervals" for the looks of a cell.

    The first look of the list is spaced by failure finding where the function is hidden, by the
    drift of readings where these tell it, by the delay-time cost where the record speaks, else at
    half the warning time; the operator's daily looks and further looks keep their starting value.

    Parameters
    ----------
    cell : Cell
    costs : dict
        Rows of table "costs" by task.
    present : str
        The schedule followed today in words, blank when none.
    settings : Settings
    seen : LooksSeen
        What looks found and what failed between them.
    measured : MeasuringInterval or None
        By the drift of readings, on the cell's clock.
    replacement : dict, optional
        Row of table "intervals" that renews the cell's part: a look comes before it or not at all.
    """
    rows = []
    for rank, look in enumerate(looks_of(cell.component, severe=cell.severe)):
        if rank == 0 and not look.is_operator_check:
            row = _first_row(cell, look, costs, settings, seen, measured)
        else:
            row = _kept_row(cell, look, settings)
        sooner = before_replacement(row, replacement, cell, look, settings)
        if sooner is None:
            continue
        row = sooner
        if present:
            row["sentence"] += f" Today: {present}."
        row["sentence"] += ask_the_maker(cell.component)
        rows.append(row)
    return rows


def _first_row(
    cell: Cell,
    look: Start,
    costs: dict[str, dict[str, Any]],
    settings: Settings,
    seen: LooksSeen,
    measured: MeasuringInterval | None,
) -> dict[str, Any]:
    """Row of the look a visit is made for."""
    if is_hidden(cell.component):
        return _hidden_row(cell, look, settings, seen)
    if look.task == "measure" and measured is not None:
        return _measured_row(cell, look, measured, costs, settings)
    return _main_row(cell, look, costs, settings, seen)


def _hidden_row(cell: Cell, look: Start, settings: Settings, seen: LooksSeen) -> dict[str, Any]:
    found = test_interval(cell, look, seen, settings.fleet.meter_unit)
    row = _base(cell, look) | {
        "interval_hours": found.hours, "interval_days": found.days, "clock": found.clock
    }  # fmt: skip
    if found.computed:
        row |= {"basis": cell.basis}
    row = fill_by_use(row, cell)
    at = every(row["interval_hours"], row["interval_days"], found.clock or "",
               settings.fleet.meter_unit)  # fmt: skip
    row["sentence"] = look_words(cell, look, at, found.why[:1].upper() + found.why[1:])
    return row


def _measured_row(
    cell: Cell,
    look: Start,
    measured: MeasuringInterval,
    costs: dict[str, dict[str, Any]],
    settings: Settings,
) -> dict[str, Any]:
    spacing = measured.interval
    started = cell.sooner(look.hours, look.days)
    if cell.component.can_hurt and started is not None:
        spacing = min(spacing, started)
    spacing = _rounded_down(spacing, cell, settings)
    row = _base(cell, look) | {"basis": "own data", "clock": cell.clock}
    row |= {"interval_hours": cell.in_hours(spacing), "interval_days": cell.in_days(spacing)}
    if cell.has_law:
        share = measured.share_over
        row["probability_it_pays"] = _probability_it_pays(cell, spacing, share, costs, look)
    at = every(row["interval_hours"], row["interval_days"], cell.clock, settings.fleet.meter_unit)
    over = f", {measured.n_over} over it now: change these first" if measured.n_over else ""
    why = (
        f"By the drift of {measured.n_readings} readings on {measured.n_parts} parts "
        f"{measured.share_over:.0%} of them reach their limit by then{over}"
    ).replace("%", " %")
    row["sentence"] = look_words(cell, look, at, why)
    return row


def _rounded_down(spacing: float, cell: Cell, settings: Settings) -> float:
    """A spacing in the shop's steps, never a longer one, and at most a fifth shorter."""
    return rounded(spacing, 0.8 * spacing, spacing, steps_of(cell.clock, settings)).value


def _kept_row(cell: Cell, look: Start, settings: Settings) -> dict[str, Any]:
    row = _base(cell, look) | {"interval_hours": look.hours, "interval_days": look.days}
    whose = ", by whoever runs the machine" if look.is_operator_check else ""
    row = fill_by_use(row, cell)
    at = every(look.hours, look.days, "", settings.fleet.meter_unit)
    row["sentence"] = look_words(cell, look, at, f"A starting value ({look.mark}){whose}")
    return row


def _main_row(
    cell: Cell,
    look: Start,
    costs: dict[str, dict[str, Any]],
    settings: Settings,
    seen: LooksSeen,
) -> dict[str, Any]:
    warning = warning_used(cell, seen, settings)
    if warning is None:  # looks_of gave one, so a spacing to double is there
        raise AssertionError(f"{cell.component.name} has a look without a spacing")
    careful = bool(cell.component.can_hurt or cell.component.hidden)
    on_clock = cell.sooner(warning.hours, warning.days)
    if not cell.has_law or on_clock is None:
        return _half_warning_row(cell, look, warning, settings)
    best = inspection_interval(
        cell.defect_rate,
        on_clock,
        look_cost=costs[look.task]["planned_cost"],
        planned_cost=costs["replace"]["planned_cost"],
        failure_cost=costs["replace"]["failure_cost"],
        longest=on_clock / 2 if careful else on_clock,
        detection=cell.component.look_detection,
    )
    best = _in_steps(best, cell, settings, careful=careful)
    # what the rounded spacing costs and misses, not the one it was rounded from
    share = share_failing_before_look(
        best.interval, on_clock, detection=cell.component.look_detection
    )
    missed, replacing = float(share[0]), costs["replace"]
    mended = missed * replacing["failure_cost"] + (1 - missed) * replacing["planned_cost"]
    rate = costs[look.task]["planned_cost"] / best.interval + cell.defect_rate * mended
    best = replace(best, share_failing=missed, rate=rate)
    row = _base(cell, look) | both_clocks(
        cell, best.interval, best.interval_lower, best.interval_upper
    )
    pays = _probability_it_pays(cell, best.interval, best.share_failing, costs, look)
    row |= {
        "basis": cell.basis, "clock": cell.clock, "mark": warning.mark or None,
        "probability_it_pays": pays,
    }  # fmt: skip
    if not costs["replace"]["is_relative"]:
        row |= {
            "cost_per_1000_hours": cell.per_1000_hours(best.rate),
            "cost_per_1000_hours_run_to_failure": cell.per_1000_hours(best.rate_without_looking),
        }
    at = every(row["interval_hours"], row["interval_days"], cell.clock, settings.fleet.meter_unit)
    why = _why(best, warning, settings, careful=careful)
    if pays < 0.5 and not cell.component.can_hurt:
        why += "; look when the machine is in anyway, a visit of its own costs more than it saves"
    row["sentence"] = look_words(cell, look, at, why)
    return row


def _in_steps(
    best: InspectionInterval, cell: Cell, settings: Settings, *, careful: bool
) -> InspectionInterval:
    """The spacing in the shop's steps: inside what costs nearly the same, at the limit downward."""
    if careful or best.at_limit:
        return replace(best, interval=_rounded_down(best.interval, cell, settings))
    found = rounded(
        best.interval, best.interval_lower, best.interval_upper, steps_of(cell.clock, settings)
    )
    return replace(best, interval=found.value)


def _half_warning_row(
    cell: Cell, look: Start, warning: WarningTime, settings: Settings
) -> dict[str, Any]:
    row = _base(cell, look) | {
        "interval_hours": None if warning.hours is None else warning.hours / 2,
        "interval_days": None if warning.days is None else warning.days / 2,
        "mark": warning.mark if warning.stated else look.mark,
    }
    at = every(row["interval_hours"], row["interval_days"], "", settings.fleet.meter_unit)
    why = (
        f"Half the time from first sign to failure ({warning.mark})"
        if warning.stated
        else f"A starting value ({look.mark})"
    )
    row["sentence"] = look_words(cell, look, at, why)
    return fill_by_use(row, cell)


def _probability_it_pays(
    cell: Cell,
    interval: float,
    share_failing: float,
    costs: dict[str, dict[str, Any]],
    look: Start,
) -> float:
    """Weighted share of draws in which looking at this spacing beats waiting for failure."""
    defects = 1 / weibull_mean(cell.shape, cell.scale)
    failure = costs["replace"]["failure_cost"]
    planned = costs["replace"]["planned_cost"]
    mended = share_failing * failure + (1 - share_failing) * planned
    looking = costs[look.task]["planned_cost"] / interval + defects * mended
    return min(float(cell.weights @ (looking < defects * failure)), 1.0)


def _why(
    best: InspectionInterval, warning: WarningTime, settings: Settings, *, careful: bool
) -> str:
    time = every(warning.hours, warning.days, "", settings.fleet.meter_unit)
    source = (
        warning.source or warning.mark
        if warning.stated
        else "twice the starting spacing, our proposal"
    )
    ceiling = ""
    if best.at_limit:
        ceiling = "half of " if careful else "the whole of "
    shown = f"{ceiling}the time from first sign to failure, {time} ({source})"
    kept = 1 - best.share_failing
    return f"{'At ' if ceiling else 'Against '}{shown}; finds about {kept:.0%} in time".replace(
        "%", " %"
    )


def _base(cell: Cell, look: Start) -> dict[str, Any]:
    return {
        "component": cell.component.name, "duty": cell.duty, "task": look.task,
        "n_failed": cell.n_failed, "basis": "starting value", "mark": look.mark,
        "can_hurt": cell.component.can_hurt, "clock": None,
    }  # fmt: skip
