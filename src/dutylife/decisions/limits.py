"""Ceilings of an interval: the maker's or legal limit; for what can hurt, today's interval too."""

import math
from dataclasses import dataclass
from typing import Any

from dutylife.components import Component
from dutylife.decisions.cells import Cell
from dutylife.settings import PresentSchedule, Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH
from dutylife.wording import every, limit_sentence

_MAKERS = "the maker's or legal limit"
_TODAYS = "today's interval, which is not made longer for what can hurt someone"

_OF_AN_AGE = (
    "cost_per_1000_hours", "probability_it_pays", "saving_per_1000_hours_cost",
    "saving_per_year_cost", "advice_holds_ratio",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceiling:
    """What a replacement may not be later than, on each clock, and whose limit it is."""

    hours: float | None
    days: float | None
    whose: str


def ceiling_of(component: Component, present: PresentSchedule | None = None) -> Ceiling | None:
    """Ceiling of a component's replacement, None where there is none.

    Parameters
    ----------
    component : Component
    present : PresentSchedule, optional
        Followed today; a ceiling for what can hurt someone, since no saving is worth a longer one.
    """
    hours, days = component.maker_limit_hours, component.maker_limit_days
    whose = [_MAKERS] if has_limit(component) else []
    if component.can_hurt and present is not None:
        months = present.months
        hours = _least(hours, present.hours)
        days = _least(days, None if months is None else months * DAYS_PER_MONTH)
        whose.append(_TODAYS)
    if hours is None and days is None:
        return None
    return Ceiling(hours=hours, days=days, whose=", or ".join(whose))


def under_limit(
    row: dict[str, Any], cell: Cell, settings: Settings, record: str,
    present: PresentSchedule | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Bring a replacement row under its ceiling, which binds on whichever clock comes first.

    Parameters
    ----------
    row : dict
        Row of table "intervals" that replaces or runs to failure.
    cell : Cell
    settings : Settings
    record : str
        The evidence in words.
    present : PresentSchedule, optional
        Followed today.

    Returns
    -------
    dict
        The row itself without a limit, or where it is on the row's own clock and does not bind. A
        limit on the other clock always stands beside the interval: a machine that runs less than
        its duty's others reaches it first.
    """
    ceiling = ceiling_of(cell.component, present)
    if ceiling is None:
        return row
    limit_hours, limit_days = ceiling.hours, ceiling.days
    hours, days = row.get("interval_hours"), row.get("interval_days")
    own = {"hours": ("hours",), "days": ("days",), "idle_days": ("days",)}.get(
        str(row["clock"]), ("hours", "days")
    )
    new_hours = _least(hours if "hours" in own else None, limit_hours)
    new_days = _least(days if "days" in own else None, limit_days)
    if row["task"] == "replace" and not _binds(row, own, limit_hours, limit_days):
        if _on_other_clock(own, limit_hours, limit_days):
            limit = every(limit_hours if "hours" not in own else None,
                          limit_days if "days" not in own else None, "",
                          settings.fleet.meter_unit)  # fmt: skip
            row = row | {"interval_hours": new_hours, "interval_days": new_days, "clock": None}
            row["sentence"] += f" At the latest after {limit}: {ceiling.whose}."
        return row
    new_hours, new_days = _least(hours, limit_hours), _least(days, limit_days)
    out = {k: v for k, v in row.items() if not k.endswith(("_lower", "_upper"))}
    out |= {"task": "replace", "interval_hours": new_hours, "interval_days": new_days}
    # money and range were those of another age
    out |= {"clock": None} | dict.fromkeys((c for c in _OF_AN_AGE if c in out), math.nan)
    out["sentence"] = limit_sentence(
        component=cell.component.name,
        duty=cell.duty,
        at=every(new_hours, new_days, "", settings.fleet.meter_unit),
        limit=ceiling.whose,
        record=record,
    )
    return out


def _binds(
    row: dict[str, Any], own: tuple[str, ...], limit_hours: float | None, limit_days: float | None
) -> bool:
    """Whether a limit is below the row's interval, at the duty's use."""
    limits = {"hours": limit_hours, "days": limit_days}
    return any(
        limits[clock] is not None
        and (row.get(f"interval_{clock}") is None or row[f"interval_{clock}"] > limits[clock])
        and (clock in own or row.get(f"interval_{clock}") is not None)
        for clock in limits
    )


def _on_other_clock(
    own: tuple[str, ...], limit_hours: float | None, limit_days: float | None
) -> bool:
    limits = {"hours": limit_hours, "days": limit_days}
    return any(limit is not None and clock not in own for clock, limit in limits.items())


def ask_the_maker(component: Component) -> str:
    """What is said of a part that can hurt and has no limit in the settings: whom to ask."""
    if not component.can_hurt or has_limit(component):
        return ""
    return (
        f" It can hurt someone ({component.can_hurt}) and no limit is in the settings: ask the "
        "maker or a competent person."
    )


def has_limit(component: Component) -> bool:
    """Whether the settings state the maker's or a legal limit."""
    return component.maker_limit_hours is not None or component.maker_limit_days is not None


def _least(one: float | None, other: float | None) -> float | None:
    given = [v for v in (one, other) if v is not None and math.isfinite(v)]
    return min(given) if given else None
