"""What stands beside a recommended replacement: today's schedule, the money, how far it holds."""

import math
from typing import Any

from dutylife.decisions.cells import Cell
from dutylife.decisions.starting import Start
from dutylife.settings import Settings
from dutylife.wording import every, money, number


def asides(
    cell: Cell,
    row: dict[str, Any],
    cost: dict[str, Any],
    start: Start | None,
    present: str,
    settings: Settings,
) -> str:
    """Sentences behind a row's own: savings, ratio of costs, schedule, what is assumed.

    Parameters
    ----------
    cell : Cell
    row, cost : dict
        Rows of tables "intervals" and "costs".
    start : Start or None
        Starting replacement of the component.
    present : str
        The schedule followed today in words, blank when none.
    settings : Settings
    """
    notes = [*_saved(row, settings), *_held(row)]
    if present:
        notes.append(f"today: {present}")
    if start is not None and row["basis"] != "starting value":
        at = every(start.hours, start.days, "", settings.fleet.meter_unit)
        notes.append(f"starting value: {at} ({start.mark})")
    if row["basis"] != "starting value":
        if cost["is_relative"]:
            notes.append(no_money(cost))
        elif cost["basis"] == "our proposal":
            notes.append("what a failure or the planned work costs is our proposal: state [costs]")
        if cell.use_per_week is None:
            on = "costs are per 1000 days" if cell.clock != "hours" else "no date can be given"
            notes.append(
                f"use is not known: {on}; give meter readings or state [fleet] hours_per_week"
            )
    return " " + " ".join(f"{n[0].upper()}{n[1:]}." for n in notes) if notes else ""


def no_money(cost: dict[str, Any]) -> str:
    """Why no money is shown, and what to state."""
    if cost["payer"] == "shop":
        return (
            "what the part and the work cost the shop is not known, and a billed price is no cost: "
            "no money is shown; state unit_cost of the part with labour_hours and "
            "[workshop] labour_rate, or [costs] planned_cost"
        )
    return (
        "no money is known: costs are in planned replacements, a failure taken as "
        f"{number(cost['failure_cost'] / cost['planned_cost'], 2)}; state [costs]"
    )


def _saved(row: dict[str, Any], settings: Settings) -> list[str]:
    saved = row.get("saving_per_1000_hours_cost")
    if saved is None or not math.isfinite(saved):
        return []
    currency, unit = settings.fleet.currency, settings.fleet.meter_unit
    low, high = (row[f"saving_per_1000_hours_cost_{e}"] for e in ("lower", "upper"))
    told = f"saves {_amounts(saved, low, high, currency)} per 1000 {unit}"
    year = row["saving_per_year_cost"]
    if year is not None:
        low, high = (row[f"saving_per_year_cost_{e}"] for e in ("lower", "upper"))
        told += f", {_amounts(year, low, high, currency)} a year on each machine"
    return [told]


def _amounts(value: float, low: float, high: float, currency: str) -> str:
    return f"{money(value, currency)} ({money(low, '')} to {money(high, '')})"


def _held(row: dict[str, Any]) -> list[str]:
    """How dear a failure may be, against planned work, for the advice to stay."""
    low, high = row.get("advice_holds_ratio_lower"), row.get("advice_holds_ratio_upper")
    if low is None or not math.isfinite(low):
        return []
    taken = f"(taken: {number(row['cost_ratio'], 2)})"
    waits = row["task"] == "run to failure"
    if high is None or not math.isfinite(high):
        if waits:
            return [f"this holds however dear a failure is {taken}"]
        return [f"this holds while a failure costs more than {number(low, 2)} times the planned "
                f"work {taken}"]  # fmt: skip
    if waits:
        return [f"this holds while a failure costs up to {number(high, 2)} times the planned work "
                f"{taken}"]  # fmt: skip
    return [f"this holds while a failure costs {number(low, 2)} to {number(high, 2)} times the "
            f"planned work {taken}"]  # fmt: skip
