"""Prints the task of every row of the trade's list, when it is run as a program.

Nothing is known of any part but what the list says: no failure, no life of its own.
"""

import pandas as pd

from dutylife.components import shipped_components
from dutylife.decisions import recommend_intervals
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings, settings_from

DUTY = "mixed work"
USE = 14.0


def nothing_known(settings: Settings | None = None) -> dict[str, pd.DataFrame]:
    """Intervals and task choice of every component of the list, on a record that says nothing."""
    known = shipped_components()
    models = pd.DataFrame(
        [
            {"component": name, "duty": DUTY, "clock": part.clock, "basis": "starting value",
             "n_lives": 1, "n_failed": 0}
            for name, part in known.items()
        ]
    )  # fmt: skip
    start, end = pd.Timestamp("2024-01-01"), pd.Timestamp("2026-01-01")
    span = {"unit_id": "M1", "from_date": start, "to_date": end, "customer": "C", "duty": DUTY,
            "hours_per_week": USE}  # fmt: skip
    names = ("life_draws", "failure_events", "service_lines", "maintenance_events")
    empty = {name: empty_table(name) for name in names}
    return recommend_intervals(
        empty["life_draws"], as_table("life_models", models), empty["failure_events"],
        empty["service_lines"], empty["maintenance_events"],
        as_table("unit_spans", pd.DataFrame([span])), settings or settings_from({}),
    )  # fmt: skip


def table_of_tasks(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """A row for each row of the list: its action and spacing, and the task chosen for the part."""
    chosen = tables["task_choice"]
    chosen = chosen[chosen["decides"]].astype({"component": object}).set_index("component")
    rows = []
    for name, part in shipped_components().items():
        choice = chosen.loc[name]
        for task in part.tasks or (None,):
            rows.append(
                {
                    "component": name,
                    "listed": "" if task is None else f"{task.task}: {task.action}",
                    "hours": None if task is None else task.interval_hours,
                    "months": None if task is None else task.interval_months,
                    "can_hurt": part.can_hurt,
                    "hidden": part.hidden,
                    "decided_by": choice["question"],
                    "task": choice["task"],
                    "evidence": choice["evidence"],
                }
            )
    return pd.DataFrame(rows)


if __name__ == "__main__":
    with pd.option_context("display.width", 250, "display.max_rows", 200, "display.max_columns",
                           20, "display.max_colwidth", 60):  # fmt: skip
        print(table_of_tasks(nothing_known()).drop(columns="evidence").to_string(index=False))
