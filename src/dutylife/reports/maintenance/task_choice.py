"""Section on the task choice: which task each component needs in each duty, and why."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.cautions import CAUTIONS
from dutylife.reports.facts import plain
from dutylife.reports.layout import Section, listed
from dutylife.reports.tables import Shown, html_table

_KEY = ["component", "duty"]
_LINES = dict(CAUTIONS)


def task_choice(run: Run) -> Section:
    """Return the chosen tasks with the answers that led to them, and the cautions of each."""
    asked = plain(run.table("task_choice")).sort_values([*_KEY, "question_order"])
    chosen = asked[asked["decides"]].set_index(_KEY)
    why = {key: _reasons(rows) for key, rows in asked.groupby(_KEY, sort=False)}
    rows = chosen.reset_index().assign(why=[why[key] for key in chosen.index])
    rows = rows.assign(cautions=[_spaced(c) for c in rows["cautions"]])
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        Shown(name="task", heading="task"),
        Shown(name="question", heading="decided by"),
        Shown(name="why", heading="can it work, is it worth it, and by what evidence", wide=True),
        Shown(name="cautions", heading="cautions"),
    ]
    table = html_table(
        rows,
        shown,
        caption="One row for each component and duty. What each caution asks stands below.",
        none="No component could be read from this record.",
    )
    hazards = dict.fromkeys(h for c in chosen["cautions"] for h in _items(c))
    return Section(
        "Which task, and why",
        _answer(chosen),
        (
            "Asked in the order of reliability-centred maintenance (SAE JA1011, IEC 60300-3-11): "
            "can a failure hurt, is it hidden, can a look warn in time, does risk rise with age; "
            "only then run to failure. Where safety and hidden are not shown, the answer is no. "
            "The maker's manual stands above every line.",
        ),
        (table, listed([f"{h}. {_LINES[h]}" for h in _LINES if h in hazards])),
    )


def _answer(chosen: pd.DataFrame) -> str:
    if chosen.empty:
        return ""
    counts = chosen["task"].value_counts().sort_index().sort_values(ascending=False, kind="stable")
    told = ", ".join(f"{task} {n}" for task, n in counts.items())
    return f"{wording.count(len(chosen), 'component in a duty', 'components by duty')}: {told}."


def _reasons(rows: pd.DataFrame) -> str:
    """The answer that decided, then those of other tasks that could work; the table has all."""
    told = [
        row
        for row in rows.itertuples()
        if row.decides or row.applicable == "yes" or row.question == "wear-out"
    ]
    told = [row for row in told if row.decides or row.question != "run to failure"]
    return "\n".join(_reason(row) for row in sorted(told, key=lambda row: not row.decides))


def _reason(row: Any) -> str:
    works = {"yes": "can work", "no": "can't work", "not known": "not known"}[row.applicable]
    worth = {"yes": "worth it", "no": "not worth it", "not known": "worth not known"}[row.effective]
    tests = works if row.applicable != "yes" else f"{works}, {worth}"
    return f"{row.question.capitalize()}: {tests}; {row.evidence}."


def _items(joined: str) -> list[str]:
    return [c for c in str(joined).split(";") if c]


def _spaced(joined: str) -> str:
    return ", ".join(_items(joined))
