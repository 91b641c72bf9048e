"""Section: what became of the last run's visits: done, late, skipped, and what failed meanwhile."""

import datetime as dt
from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.decisions.visits.kept import visits_kept_sentence
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, day, facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, date_column, html_table

MOST_ROWS = 25
_TITLE = "Kept since the last plan"
# what a person has to act on, first; what was done in time is counted and not listed
_ORDER = ("skipped", "late", "failed first", "still open", "not written")


def kept_since(run: Run) -> Section:
    """Return the tasks of an earlier plan that were late or not done, and what failed meanwhile."""
    given = facts_of(run)
    earlier = run.info.get("earlier_run")
    if not earlier:
        return Section(
            _TITLE,
            "",
            () if given.customer else (
                "Not told yet: this is the first month that is kept. The next run says which "
                "visits were done, late or skipped, and what failed meanwhile.",
            ),
        )  # fmt: skip
    table = plain(table_or_empty(run, "visits_kept"))
    since = day(dt.date.fromisoformat(str(earlier["as_of"])))
    rank = {word: place for place, word in enumerate(_ORDER)}
    rows = table[table["kept"].isin(_ORDER[:-1]) | table["failed_on"].notna()]
    rows = rows.assign(
        place=rows["kept"].map(rank),
        failed=rows["failed_on"].isna(),
        what=[f"{r.task} {r.component}" for r in records(rows)],
        fate=[_fate(r) for r in records(rows)],
    )
    rows = _by_visit(rows)
    more = 0 if given.customer else len(rows) - MOST_ROWS
    rows = rows.head(len(rows) if given.customer else MOST_ROWS)
    shown = [
        Shown(name="unit_id", heading="machine"),
        *([] if given.customer else [Shown(name="customer", heading="customer")]),
        date_column("due_on", "planned for"),
        Shown(name="what", heading="task", wide=True),
        Shown(name="fate", heading="what became of it"),
        date_column("failed_on", "failed meanwhile"),
    ]
    caption = "Not done in time, the parts that failed first."
    if more > 0:
        caption += f" {wording.count(more, 'more row')} like these; all tasks are in the tables."
    parts = (html_table(rows, shown, caption=caption),) if len(rows) else ()
    return Section(_TITLE, visits_kept_sentence(table, since), _notes(table, given), parts)


def _by_visit(rows: pd.DataFrame) -> pd.DataFrame:
    """One row for the tasks of a visit that met the same fate; parts that failed stand alone."""
    of_visit = ["failed", "place", "due_on", "unit_id", "customer", "fate"]
    apart = rows["what"].where(~rows["failed"], "")
    together = rows.assign(apart=apart).groupby([*of_visit, "apart"], sort=True, dropna=False)
    out = together.agg(what=("what", ", ".join), failed_on=("failed_on", "first"))
    return out.reset_index()


def _notes(table: pd.DataFrame, given: Facts) -> tuple[str, ...]:
    """How to read it, and what to record where looks leave no trace."""
    if table.empty:
        return ()
    told = ["In time: done by a week after its day. Who was in, and why, is as the record has it."]
    if (table["kept"] == "not written").any() and not given.customer:
        told.append("Write each look on the ticket, good or bad: it is counted as made only then.")
    return tuple(told)


def _fate(row: Any) -> str:
    if row.kept == "late":
        return f"late by {wording.count(row.days_late, 'day')}\n{day(row.done_on)}"
    return {"failed first": "came in broken first"}.get(row.kept, str(row.kept))
