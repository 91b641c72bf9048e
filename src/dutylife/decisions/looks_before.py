"""A look that would come no sooner than the part's replacement is made half way, or not at all."""

import math
from typing import Any

from dutylife.decisions.cells import Cell
from dutylife.decisions.look_words import look_words
from dutylife.decisions.replacing import fill_by_use
from dutylife.decisions.rounding import rounded
from dutylife.decisions.starting import Start
from dutylife.decisions.steps import steps_of
from dutylife.settings import Settings
from dutylife.wording import every

_HALF_WAY = 0.5  # our proposal
# figures worked out for the spacing that is given up
_OF_SPACING = (
    "probability_it_pays", "cost_per_1000_hours", "cost_per_1000_hours_run_to_failure",
    "interval_hours_lower", "interval_hours_upper", "interval_days_lower", "interval_days_upper",
)  # fmt: skip


def before_replacement(
    row: dict[str, Any],
    replacement: dict[str, Any] | None,
    cell: Cell,
    look: Start,
    settings: Settings,
) -> dict[str, Any] | None:
    """Bring a look before the replacement of its part.

    Parameters
    ----------
    row : dict
        Row of table "intervals" of the look.
    replacement : dict or None
        Row of that table that renews the part.
    cell : Cell
    look : Start
    settings : Settings

    Returns
    -------
    dict or None
        The row itself where it comes sooner than the replacement, where nothing is replaced, or
        where no clock is known for both. Else, of a part that can hurt or whose failure is hidden,
        a look half way to the replacement; of any other part none: its part is new by then.
    """
    age = _shared_age(row, replacement)
    if age is None or replacement is None:
        return row
    clock, at_look, at_change = age
    if at_look < at_change:
        return row
    if not (cell.component.can_hurt or cell.component.hidden):
        return None
    half = _HALF_WAY * at_change
    spacing = rounded(half, 0.8 * half, half, steps_of(clock, settings)).value
    on_clock = clock == cell.clock or (clock == "days" and cell.clock != "hours")
    out = {k: v for k, v in row.items() if k not in _OF_SPACING} | {"clock": clock}
    if on_clock:
        out |= {"interval_hours": cell.in_hours(spacing), "interval_days": cell.in_days(spacing)}
    else:
        out |= {"interval_hours": None, "interval_days": None, f"interval_{clock}": spacing}
        out = fill_by_use(out, cell)
    hours, days = out["interval_hours"], out["interval_days"]
    at = every(hours, days, clock, settings.fleet.meter_unit)
    why = "Half way to its replacement, which comes sooner than this look by itself would"
    return out | {"sentence": look_words(cell, look, at, why)}


def _shared_age(
    row: dict[str, Any], replacement: dict[str, Any] | None
) -> tuple[str, float, float] | None:
    """A clock that both are known on, and both ages on it.

    The replacement's own clock; where it goes by whichever comes first, the one on which it comes
    soonest against the look.
    """
    if replacement is None or replacement["task"] != "replace":
        return None
    clock_kept = replacement.get("clock")
    own = "hours" if clock_kept == "hours" else "days"
    found = []
    for clock in dict.fromkeys((own, "days", "hours")):
        ages = (row.get(f"interval_{clock}"), replacement.get(f"interval_{clock}"))
        if all(a is not None and math.isfinite(a) for a in ages):
            found.append((clock, float(ages[0]), float(ages[1])))  # type: ignore[arg-type]
    if not found:
        return None
    return found[0] if clock_kept else max(found, key=lambda at: at[1] / at[2])
