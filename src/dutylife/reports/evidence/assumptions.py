"""What the intervals hang on: each assumption switched, told in a line of the evidence page."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, figure_column, html_table

MATTERS = 1.1  # an interval that changes by less than a tenth is the same to a workshop


def switched(run: Run) -> Section:
    """Return what each assumption does to laws and intervals."""
    table = plain(run.table("sensitivity"))
    rows = assumption_rows(table)
    most = rows.iloc[0] if len(rows) else None
    answer = (
        "Nothing in this record hangs on an assumption that can be switched."
        if most is None
        else f"Most hangs on this: {most['assumed']}. If instead {most['switched_to']}, "
        f"{most['n_changed']} of {most['n_cells']} intervals change by a tenth or more."
    )
    shown = [
        Shown(name="assumed", heading="taken for true", wide=True),
        Shown(name="switched_to", heading="if instead", wide=True),
        figure_column("n_changed", "intervals that change by a tenth or more"),
        Shown(name="middle", heading="characteristic life, the middle one"),
        Shown(name="largest", heading="largest change", wide=True),
    ]
    html = html_table(
        rows, shown,
        caption="The whole run again from the lives on, with one assumption switched; table "
        "sensitivity has every cell.", none="No assumption touches this record.",
    )  # fmt: skip
    found = plain(table_or_empty(run, "findings"))
    # said where a fleet is so large that a part of its machines was drawn for this
    drawn = found.loc[found["table"] == "sensitivity", "message"]
    notes = tuple(text[0].upper() + text[1:] + "." for text in drawn)
    return Section("What the intervals hang on", answer, notes, (html,))


def assumption_rows(sensitivity: pd.DataFrame) -> pd.DataFrame:
    """One row for each switch, the one that changes most intervals first.

    Parameters
    ----------
    sensitivity : DataFrame, table "sensitivity"

    Returns
    -------
    DataFrame
        assumed, switched_to, n_changed (renewals whose interval changes by a tenth or whose task
        does, of those that the switch leaves any lives), n_cells, middle and largest (words).
    """
    out: list[dict[str, Any]] = []
    for (assumed, other), rows in sensitivity.groupby(["assumed", "switched_to"], sort=False):
        # a switch that leaves a cell without lives says nothing of its interval
        left = rows["task_switched"].fillna("") != ""
        task = left & (rows["task"].fillna("") != rows["task_switched"].fillna(""))
        ratio = (rows["interval_days_switched"] / rows["interval_days"]).astype(float)
        far = ratio.where(~(ratio < 1), 1.0 / ratio.where(ratio > 0))
        changed = task | (far >= MATTERS)
        out.append(
            {
                "assumed": assumed, "switched_to": other, "n_cells": len(rows),
                "n_changed": int(changed.sum()),
                "middle": _percent(float(rows["scale_ratio"].median())),
                "largest": _largest(rows.assign(far=far.where(~task, np.inf))[changed]),
            }
        )  # fmt: skip
    frame = pd.DataFrame(out, columns=["assumed", "switched_to", "n_cells", "n_changed", "middle",
                                       "largest"])  # fmt: skip
    return frame.sort_values(
        ["n_changed", "assumed", "switched_to"], ascending=[False, True, True], kind="stable",
        ignore_index=True,
    )  # fmt: skip


def _percent(ratio: float) -> str:
    if not np.isfinite(ratio):
        return "not known"
    change = round(100 * (ratio - 1))
    return "as before" if change == 0 else f"{change:+d} %".replace("-", "\u2212")


def _largest(rows: pd.DataFrame) -> str:
    """The cell that changes most, in words."""
    if rows.empty:
        return "none"
    worst = rows.sort_values(["far", "component", "duty"], ascending=[False, True, True]).iloc[0]
    before, after = (
        _renewal(worst[f"task{end}"], float(worst[f"interval_days{end}"]))
        for end in ("", "_switched")
    )
    return f"{worst['component']}, {worst['duty']}: {before}, then {after}"


def _renewal(task: object, days: float) -> str:
    if task != "replace" or not np.isfinite(days):
        return "no interval" if task is None or task != task else str(task)  # noqa: PLR0124
    return f"replace at {wording.number(days)} days"
