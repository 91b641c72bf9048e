"""What moved since last month and why, for the analyst: every cause, every share, the past."""

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.stock.moved import (
    CAUSES,
    INTERVAL,
    LEVEL,
    NO_MONTH,
    ORDER,
    moved_answers,
    since_day,
    why,
)
from dutylife.reports.tables import Shown, figure_column, html_table

ORDER_OF_CAUSES = (
    "Causes are taken one after the other, from last month's inputs to today's, and each share is "
    "what recommendations change by when that one input is replaced: the program, past rows, "
    "settings; then laws with what ran on since, then with the failures; then, for parts, past "
    "forecasts, the month ahead, what was asked for, the parts list. In another order the shares "
    "would be others; their sum would not."
)
SHOWN_CHANGES = 40


def moved_why(run: Run) -> Section:
    """Return every changed recommendation with its causes, and rows of the past that changed."""
    title = "What moved since last month and why"
    since = since_day(run.info.get("history", {}))
    if not since:
        return Section(title, NO_MONTH)
    given, moved = facts_of(run), plain(table_or_empty(run, "moved"))
    changes = plain(table_or_empty(run, "record_changes"))
    tables = {n: run.table(n) for n in ("stock_plan", "intervals")} | {"moved": moved}
    answer = moved_answers(tables, run.info["history"])[0]
    return Section(
        title, answer + ".", (ORDER_OF_CAUSES, _past(changes, since)),
        (_summary(moved), _each(moved, given), _changes(changes)),
    )  # fmt: skip


def _summary(moved: pd.DataFrame) -> Markup:
    rows = []
    for cause, (name, about) in CAUSES.items():
        own = moved[moved["cause"] == cause]
        counts = {
            what: own.loc[own["recommendation"] == what, "subject"].nunique()
            for what in (INTERVAL, LEVEL, ORDER)
        }
        if len(own):
            rows.append({"cause": name, "about": about, **counts})
    shown = [
        Shown(name="cause", heading="cause"),
        Shown(name="about", heading="what it is", wide=True),
        figure_column(INTERVAL, "intervals it moved"),
        figure_column(LEVEL, "levels it moved"),
        figure_column(ORDER, "orders it moved"),
    ]
    frame = pd.DataFrame(rows, columns=[s.name for s in shown])
    return html_table(
        frame, shown, caption="Causes in the order they were taken; one change may have several.",
        none="Nothing moved.",
    )  # fmt: skip


def _each(moved: pd.DataFrame, given: Facts) -> Markup:
    units = {"meter units": given.meter_short, "days": "days", "pieces": "pieces"}
    rows = []
    for (what, subject), own in moved.groupby(["recommendation", "subject"], sort=True):
        own = own.sort_values("cause_order")
        one = own.iloc[0]
        unit = units[one["moved_unit"]]
        evidence = [
            f"{CAUSES[r['cause']][0]}: {r['cause_evidence']}" for r in own.to_dict("records")
        ]
        rows.append(
            {
                "subject": f"{subject}\n{what}",
                "then": f"{_value(one['value_before'])}",
                "now": f"{_value(one['value_after'])}",
                "unit": unit,
                "why": why(own, _signed) + "\n" + "; ".join(evidence),
            }
        )
    shown = [
        Shown(name="subject", heading="recommendation"),
        Shown(name="then", heading="then", number=True),
        Shown(name="now", heading="now", number=True),
        Shown(name="unit", heading="unit"),
        Shown(name="why", heading="because of, with the share of each", wide=True),
    ]
    frame = pd.DataFrame(rows, columns=[s.name for s in shown])
    return html_table(
        frame, shown, caption="Every recommendation that is another than last month; shares add up "
        "to the change. None: no interval, run to failure, or no count of the shelf.",
        none="No recommendation changed.",
    )  # fmt: skip


def _past(changes: pd.DataFrame, since: str) -> str:
    rows = changes.drop_duplicates(["table", "change", "row_key"])
    if rows.empty:
        return f"Every row of the months up to {since} reads as it did then."
    counts = rows["change"].value_counts()
    told = ", ".join(
        f"{counts[c]} {c}"
        for c in ("changed", "went", "came late", "coded otherwise")
        if c in counts
    )
    return f"Of the past up to {since}, {wording.count(len(rows), 'row')} read otherwise: {told}."


def _changes(changes: pd.DataFrame) -> Markup:
    rows = changes.sort_values(["change", "table", "row_key", "changed_column"], kind="stable")
    rows = rows.assign(
        where=[
            f"{r['source_file']}, row {r['source_row']}" if r["source_file"] else r["table"]
            for r in rows.to_dict("records")
        ],
        about=[
            "\n".join(filter(None, [r["unit_id"], r["ticket"] or r["component"]]))
            for r in rows.to_dict("records")
        ],
        on=[day(d) for d in rows["happened_on"]],
    )
    shown = [
        Shown(name="about", heading="machine and job"),
        Shown(name="on", heading="of", number=True),
        Shown(name="change", heading="what happened"),
        Shown(name="changed_column", heading="cell"),
        Shown(name="was", heading="was"),
        Shown(name="is_now", heading="is now"),
        Shown(name="where", heading="row"),
    ]
    more = f"; the first {SHOWN_CHANGES} of {len(rows)}" if len(rows) > SHOWN_CHANGES else ""
    return html_table(
        rows.head(SHOWN_CHANGES), shown,
        caption=f"Cells of the past that are not what they were (table record_changes{more}).",
        none="No row of the past changed.",
    )  # fmt: skip


def _signed(value: float) -> str:
    return ("+" if value > 0 else "-") + wording.number(abs(value), 4)


def _value(value: float) -> str:
    return "none" if pd.isna(value) else wording.number(float(value), 4)
