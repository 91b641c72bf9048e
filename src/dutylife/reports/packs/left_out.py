"""What pages, calendar and packs of a large fleet leave to the tables, as findings."""

import pandas as pd

from dutylife.provenance import digest_of
from dutylife.reports.most import MOST_CARDS, MOST_ENTRIES, MOST_LIVES, MOST_PACKS, first_of
from dutylife.reports.packs.chosen import asked_for, customers_of
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.wording import count


def left_out_of_pages(tables: dict[str, pd.DataFrame], settings: Settings) -> pd.DataFrame:
    """Table "findings": what pages, calendar and packs of a large fleet leave to the tables.

    Parameters
    ----------
    tables : dict of DataFrame
        machine_tasks, visit_plan and failure_events of the run.
    settings : Settings
        Whose packs are asked for by name.
    """
    tasks = tables["machine_tasks"]
    lives = tables["failure_events"].groupby(["component", "duty"], observed=True).size()
    n_long = int((lives > MOST_LIVES).sum())
    customers = 0 if asked_for(settings.report.customer) else len(customers_of(tasks))
    told = (
        ("wall-cards.html", first_of(tasks["unit_id"].nunique(), MOST_CARDS, "machine"),
         "machine_tasks", "ask for one machine with dutylife sheet, or for packs by name in "
         "[report] customer"),
        ("maintenance-calendar.ics", first_of(len(tables["visit_plan"]), MOST_ENTRIES, "visit"),
         "visit_plan", "take the rest from the table, or ask for packs by name in [report] "
         "customer: each has a calendar of its own"),
        ("customers", first_of(customers, MOST_PACKS, "customer") and
         f"the {MOST_PACKS} customers with the most machines, of {count(customers, 'customer')}",
         "machine_tasks", "name those who want a pack in [report] customer"),
        ("lives.html", f"the first {MOST_LIVES} lives of {count(n_long, 'pair')} of component and "
         "duty that have more" if n_long else "", "failure_events", "take the rest from the table"),
    )  # fmt: skip
    rows = [
        {
            "finding_id": digest_of("left out of pages", place, what), "stage": "reports",
            "kind": "note", "table": table, "key": place, "source_row": 0,
            "message": f"{place} holds {what}; table {table} holds all", "mend": mend,
        }
        for place, what, table, mend in told
        if what
    ]  # fmt: skip
    return as_table("findings", pd.DataFrame(rows)) if rows else empty_table("findings")
