"""Pictures of the coming year: plans side by side, a change before and after, machines' costs."""

from typing import Any

import numpy as np

from dutylife import wording
from dutylife.decisions import KeepOrRetire, PlanComparison, WhatIf
from dutylife.decisions.comparison.compare import SAID
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import MOST_ROWS, Units, dots, in_percent, title


def plans(axes: Any, found: PlanComparison, units: Units) -> None:
    """Draw the yearly money of each plan with its range; failures where no money is known."""
    table = found.table.astype({"plan": "object", "payer": "object", "customer": "object"})
    rows = table[table["customer"].isna()]
    paid = rows[rows["cost_per_year"].notna()]
    name, unit = "cost_per_year", f"{found.currency or units.money} a year"
    label = "money"
    if paid.empty:
        paid, name, unit, label = rows, "failures_per_year", "a year", "failures"
    payer = str(paid["payer"].iloc[0])
    paid = paid[paid["payer"] == payer]
    order = [p for p in SAID if p in set(paid["plan"])]
    paid = paid.set_index("plan").loc[order]
    dots(
        axes, [SAID[p] for p in order], paid[name], paid[f"{name}_lower"], paid[f"{name}_upper"],
        label=f"expected, with its {in_percent(found.confidence_level)}",
    )  # fmt: skip
    axes.set(xlabel=f"{label} of the {payer} [{unit}]", ylabel="plan")
    title(axes, found.text)


def change(axes: Any, found: WhatIf, units: Units) -> None:  # noqa: ARG001  (per cent has no unit of these)
    """Draw the change of each measure against before, with its range."""
    rows = found.table[found.table["before"] > 0]
    rows = rows[rows["difference"].notna()]
    parts = [100 * rows[f"difference{end}"] / rows["before"] for end in ("", "_lower", "_upper")]
    dots(axes, list(rows["measure"]), *parts, label="expected, with its range")
    axes.axvline(0.0, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4, label="as before")
    ends = [np.nanmin(parts[1]), np.nanmax(parts[2]), 0.0]
    room = 0.08 * (max(ends) - min(ends)) or 1.0
    axes.set(xlabel="change of the year [%]", ylabel="measure")
    axes.set_xlim(min(ends) - room, max(ends) + room)
    title(axes, found.text)


def machines(axes: Any, found: KeepOrRetire, units: Units) -> None:
    """Draw the coming year's cost of the machines that cost most, with the range of the year."""
    rows = found.table.astype({"unit_id": "object", "advice": "object"})
    rows = rows.sort_values("next_year_cost", ascending=False, kind="stable")
    rows = rows[rows["next_year_cost"].notna()].head(MOST_ROWS // 2)
    dots(
        axes, [f"{r.unit_id}, {r.equipment_class}" for r in rows.itertuples()],
        rows["next_year_cost"], rows["next_year_cost_lower"], rows["next_year_cost_upper"],
        marked=rows["advice"].isin(["retire", "safety work only"]),
        label="the coming year, with what it may bring",
        marked_label="retire, or safety work only",
    )  # fmt: skip
    axes.set(xlabel=f"cost of the coming year [{found.currency or units.money}]", ylabel="machine")
    more = len(found.table) - len(rows)
    note = f" {wording.count(more, 'machine')} more cost less." if more > 0 and len(rows) else ""
    title(axes, found.text + note)


DRAWN = {PlanComparison: plans, WhatIf: change, KeepOrRetire: machines}
