"""Visits on the maintenance page: the first ones, those of the next 30 days, and the total."""

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.maintenance.coming_year import saving_in_short
from dutylife.reports.overdue_work import overdue_works, works_in_words
from dutylife.reports.tables import (
    Shown,
    amount,
    date_column,
    figure_column,
    html_table,
    whole_hours,
)

SOON_DAYS = 30
MOST_TASKS = 8  # of the next visit, named on the first screen
MOST_UNBROKEN = 24  # signs of a customer's name
FIRST_VISITS = 5  # on the first screen; the calendar holds them all
MOST_VISITS = 200  # on a page; those of a month of a larger fleet fill the calendar


def visit_answer(visit_plan: pd.DataFrame, given: Facts) -> str:
    """Say how many machines come in soon and which one first.

    Parameters
    ----------
    visit_plan : DataFrame, table "visit_plan"
    given : Facts

    Returns
    -------
    str
    """
    if visit_plan.empty:
        return "No visit is due within the horizon."
    soon = visit_plan["due_on"] <= pd.Timestamp(given.as_of) + pd.Timedelta(days=SOON_DAYS)
    first = visit_plan.sort_values(["due_on", "unit_id"]).iloc[0]
    return (
        f"{wording.count(int(soon.sum()), 'visit is', 'visits are')} due in the next {SOON_DAYS} "
        f"days, {wording.count(len(visit_plan), 'visit')} up to {day(visit_plan['due_on'].max())}; "
        f"first {first['unit_id']} on {day(first['due_on'])}."
    )


def next_visits(run: Run) -> Section:
    """Return the next dated visits."""
    given, visits = facts_of(run), run.table("visit_plan")
    rows = plain(visits).sort_values(["due_on", "unit_id"]).head(FIRST_VISITS)
    table = html_table(
        rows.assign(
            # the next machine in full, so that it can be got ready
            tasks=[_first_tasks(t, 3 if i else MOST_TASKS) for i, t in enumerate(rows["tasks"])]
        ),
        [
            Shown(name="unit_id", heading="machine"),
            date_column("due_on", "due"),
            *_whose(given),
            Shown(name="tasks", heading="do", wide=True),
        ],
        caption=f"The next {FIRST_VISITS} visits.",
        caption_unseen=True,
        none="No visit is due within the horizon.",
    )
    late = overdue_that_can_hurt(run)
    told = (*([late] if late else []), *saving_in_short(run)[:1])
    return Section("", visit_answer(visits, given), told, (table,))


def overdue_that_can_hurt(run: Run) -> str:
    """Say on how many machines work that keeps somebody from harm is overdue; blank if on none."""
    tasks = plain(table_or_empty(run, "machine_tasks"))
    late = tasks[tasks["is_overdue"] & (tasks["can_hurt"] != "")]
    if late.empty:
        return ""
    how = ", ".join(sorted(set(late["can_hurt"])))
    machines = wording.count(late["unit_id"].nunique(), "machine has", "machines have")
    days = late["next_on"].dropna()
    until = f", all of it by {day(days.max())}" if len(days) == len(late) else ""
    return (
        f"{machines} overdue work on parts that can hurt someone ({how}): "
        f"{works_in_words(overdue_works(late))}. That comes first{until}, and what else is due on "
        "the machine is done with it. Until then look at these parts before each start; where "
        "they are not sound, leave the machine standing."
    )


def visits_soon(run: Run) -> Section:
    """Return the visits of the next 30 days with parts, labour and money, and the total of all.

    In a customer's pack all visits of the plan stand, and the money is what the customer pays.
    """
    given = facts_of(run)
    rows = plain(run.table("visit_plan")).sort_values(["due_on", "unit_id"])
    until = pd.Timestamp(given.as_of) + pd.Timedelta(days=SOON_DAYS)
    soon = rows[rows["due_on"] <= until]
    # a customer's machines are few; a year of a whole fleet fills the calendar, not a page
    shown = rows if given.customer else soon
    answer = _totals(soon, "in the next 30 days", given) if len(rows) else ""
    sentences = []
    if len(rows):
        horizon = wording.count(given.horizon_months, "month")
        sentences.append(_totals(rows, f"in the next {horizon}", given))
    more = len(rows) - min(len(shown), MOST_VISITS)
    if more > 0:
        sentences.append(f"The other {more} stand in maintenance-calendar.ics.")
    # in the unlikely case that a month overflows the page, the soonest are shown
    table = _visit_table(shown.head(MOST_VISITS), given, "Visits, soonest first.")
    title = "All visits" if given.customer else f"Visits in the next {SOON_DAYS} days"
    return Section(title, answer, tuple(sentences), (table,))


def _totals(rows: pd.DataFrame, when: str, given: Facts) -> str:
    told = [wording.count(len(rows), "visit")]
    if rows["cost"].notna().any():
        told.append(wording.money(float(rows["cost"].sum()), given.currency))
    if rows["labour_hours"].notna().any():
        told.append(f"{wording.number(float(rows['labour_hours'].sum()))} hours of labour")
    return f"{when[0].upper()}{when[1:]}: {', '.join(told)}."


def _whose(given: Facts) -> list[Shown]:
    return (
        []
        if given.customer
        else [Shown(name="customer", heading="customer", write=_on_a_line, line=True)]
    )


def _on_a_line(name: str) -> str:
    """A name of usual length unbroken, so that a row of the first screen stays one line."""
    return name.replace(" ", "\u00a0") if len(name) <= MOST_UNBROKEN else name


def _visit_table(rows: pd.DataFrame, given: Facts, caption: str) -> Markup:
    labour = figure_column("labour_hours", "labour", "h", missing="", write=wording.number)
    shown = [
        Shown(name="unit_id", heading="machine"),
        *_whose(given),
        date_column("due_on", "due"),
        figure_column("due_hours", "meter", given.meter_short, write=whole_hours, missing=""),
        Shown(name="tasks", heading="do", write=_spaced),
        Shown(name="parts", heading="parts", write=_spaced),
        *([] if given.customer else [labour]),
        figure_column("cost", "you pay about" if given.customer else "money", given.money_unit,
                      write=amount, missing=""),
    ]  # fmt: skip
    return html_table(rows, shown, caption=caption,
                      none=f"No visit is due in the next {SOON_DAYS} days.")  # fmt: skip


def _first_tasks(joined: str, most: int) -> str:
    """The first tasks by what is done: ``replace hose, plug; clean filter and 2 more``."""
    tasks = sorted(_items(joined), key=lambda t: not t.startswith("replace"))
    by_verb: dict[str, list[str]] = {}
    for task in tasks[:most]:
        verb, _, part = task.partition(" ")
        by_verb.setdefault(verb, []).append(part)
    more = f" and {len(tasks) - most} more" if len(tasks) > most else ""
    return "; ".join(f"{verb} {', '.join(parts)}" for verb, parts in by_verb.items()) + more


def _spaced(joined: str) -> str:
    return ", ".join(_items(joined))


def _items(joined: str) -> list[str]:
    return [t.strip() for t in joined.split(";") if t.strip()]
