"""Section: the looks and readings of these machines, each with its limit, tool and caution."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.components import Component, Task, shipped_components
from dutylife.provenance import Run
from dutylife.reports.facts import facts_of, plain, records
from dutylife.reports.layout import Section
from dutylife.reports.maintenance.card_cautions import SHORT, hazards_of
from dutylife.reports.maintenance.maintenance_page import interval_words
from dutylife.reports.maintenance.tools import tool_for
from dutylife.reports.tables import Shown, html_table

LOOKS = ("inspect", "measure", "clean", "test")


def on_condition(run: Run) -> Section:
    """Return each look: how often in each duty, what is read, its limit, and with what tool."""
    given, rows = facts_of(run), plain(run.table("intervals"))
    rows = rows[rows["task"].isin(LOOKS)]
    known = shipped_components()
    found = []
    for (component, task), mine in rows.groupby(["component", "task"], sort=True):
        of = known.get(str(component), Component(name=str(component)))
        checks = _checks(of, str(task))
        hurts = next((h for h in mine["can_hurt"] if h), "")
        hazards = hazards_of(of.system, hurts)
        found.append(
            {
                "what": f"{task} {component}",
                "often": _by_duty(records(mine), given),
                "reading": "\n".join(_reading(c) for c in checks) or "as the maker's manual says",
                "limit": "\n".join(
                    wording.limit_words(c.reject_limit, c.unit) for c in checks if c.reject_limit
                )
                or "as the maker's manual says",
                "tool": "\n".join(dict.fromkeys(filter(None, (_tool(c) for c in checks)))),
                "care": " ".join(SHORT[h] for h in hazards),
            }
        )
    shown = [
        Shown(name="what", heading="look"),
        Shown(name="often", heading="how often", wide=True),
        Shown(name="reading", heading="reading, when good"),
        Shown(name="limit", heading="change or mend at"),
        Shown(name="tool", heading="tool"),
        Shown(name="care", heading="caution", wide=True),
    ]
    n = len(found)
    return Section(
        "Looks and readings, with limit and tool",
        f"{wording.count(n, 'look')}, each with what is read, its limit and the tool." if n else "",
        (
            "Limits are starting values; the maker's figure for the machine stands above them, and "
            "a limit in the parts list above those. Tools: common practice, no source.",
        ),
        (
            html_table(
                pd.DataFrame(found),
                shown,
                caption="Each look once, with how often in each duty.",
                none="No look is known for the parts of this record.",
            ),
        ),
    )


def _by_duty(rows: list[Any], given: Any) -> str:
    """How often in each duty, all in lines alike."""
    told = [f"{r.duty}: {_often(r, given)}" for r in rows]
    return told[0] if len(told) == 1 else "\n".join(["by duty", *told])


def _often(row: Any, given: Any) -> str:
    return interval_words(row, given).removeprefix(f"{row.task} ") or "no figure"


def _checks(component: Component, task: str) -> list[Task]:
    """What a look of that kind reads, each measurement once."""
    own = [t for t in component.tasks if t.task == task]
    return list({(t.measurement, t.unit): t for t in own}.values())


def _reading(check: Task) -> str:
    good = wording.limit_words(check.nominal, check.unit)
    what = check.measurement or check.action
    return f"{what}: {good}" if good else what


def _tool(check: Task) -> str:
    return tool_for(check.measurement, check.unit)
