"""Work that came back: by job, component, part maker and batch, never by a person's name."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.models.comebacks import FALSE_DISCOVERY
from dutylife.provenance import Run
from dutylife.reports.facts import facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.results.marks import in_percent
from dutylife.reports.tables import Shown, figure_column, html_table

MOST_BATCHES = 8
_HEADS = {
    "kind of job": "By kind of job", "work done": "By work done", "component": "By component",
    "part maker": "By part maker, within the component",
    "batch": "By batch: parts of one number put in within a quarter of a year",
}  # fmt: skip


def comebacks(run: Run) -> Section:
    """Return how much work came back, in the groups it may have in common."""
    title, given = "What came back", facts_of(run)
    table = plain(table_or_empty(run, "comebacks"))
    if table.empty:
        return Section(title, "No work of this record has a comeback window that is over.")
    every = table[table["grouped_by"] == "component"]
    days = run.info.get("comeback_days")
    within = f"within {wording.count(int(days), 'day')}" if days else "within the comeback window"
    n_back, n_jobs = int(every["n_comebacks"].sum()), int(every["n_jobs"].sum())
    flagged = table[(table["p_adjusted"] <= FALSE_DISCOVERY) & (table["n_comebacks"] > 0)]
    named = ", ".join(f"{_named(r)} ({r['grouped_by']})" for r in flagged.to_dict("records"))
    answer = f"{n_back} of {wording.count(n_jobs, 'job')} on a component came back {within}"
    answer += (
        f"; more than chance explains: {named}."
        if named
        else ", nowhere more than chance explains."
    )
    sentences = [
        "A comeback is a failure of the same component on the same machine after it was worked "
        "on. It is held against the work, the part and its batch; who did it is not looked at."
    ]
    if "part maker" not in set(table["grouped_by"]):
        sentences.append("No part maker is known: a column part_maker in the parts file names it.")
    parts = []
    for kind, head in _HEADS.items():
        rows = table[table["grouped_by"] == kind]
        rows = rows.sort_values(
            ["p_adjusted", "n_comebacks", "group"], ascending=[True, False, True]
        )
        more = ""
        if kind == "batch" and len(rows) > MOST_BATCHES:
            more = f"; table comebacks holds the other {len(rows) - MOST_BATCHES}"
            rows = rows.head(MOST_BATCHES)
        if len(rows):
            parts.append(_table(rows, f"{head}{more}.", kind, in_percent(given.confidence_level)))
    return Section(title, answer, tuple(sentences), tuple(parts))


def _named(row: Mapping[Any, Any]) -> str:
    group = str(row["group"])
    return f"{row['component']} {group}" if row["grouped_by"] in ("part maker", "batch") else group


def _table(rows: pd.DataFrame, caption: str, kind: str, level: str) -> Markup:
    rows = rows.assign(
        named=[_named(r) for r in rows.to_dict("records")],
        span=[
            f"{100 * s:.1f} %\n{100 * low:.1f} to {100 * high:.1f} %"
            for s, low, high in zip(
                rows["share_back"], rows["share_back_lower"], rows["share_back_upper"], strict=True
            )
        ],
    )
    shown = [
        Shown(name="named", heading=kind),
        figure_column("n_jobs", "jobs"),
        figure_column("n_comebacks", "came back"),
        figure_column("expected_back", "would, if all were alike", missing=""),
        Shown(name="span", heading=f"share, {level}", number=True),
        figure_column(
            "p_adjusted",
            "chance of so many, if alike",
            write=lambda p: wording.number(p, 2),
            missing="",
        ),
    ]
    return html_table(rows, shown, caption=caption)
