"""Section of the shop's page: whose packs lie beside it, and whether figures were held back."""

from urllib.parse import quote

from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.packs.behind import FEWEST_CUSTOMERS, WITHHELD, customers_behind
from dutylife.reports.packs.chosen import asked_for, chosen_customers, customers_of
from dutylife.reports.packs.folders import folder_names
from dutylife.settings import settings_from

FOLDER = "customers"


def customer_packs(run: Run) -> Section:
    """Return a link to each customer's pack, with what it holds back."""
    tasks = plain(table_or_empty(run, "machine_tasks"))
    asked = settings_from(run.info.get("settings", {})).report.customer
    names = chosen_customers(tasks, asked)
    title = "To hand on: a pack for each customer"
    if not names:
        return Section(title, "No customer with machines in service gets a pack.")
    behind = customers_behind(run.table("failure_events"), run.table("life_models"))
    held = 0
    lines = []
    for name, place in folder_names(names).items():
        mine = tasks[tasks["customer"] == name]
        cells = {(str(c), str(d)) for c, d in zip(mine["component"], mine["duty"], strict=True)}
        n_held = sum(behind.source(cell, name) == WITHHELD for cell in cells)
        held += bool(n_held)
        machines = wording.count(mine["unit_id"].nunique(), "machine")
        kept = f", {wording.count(n_held, 'part')} by starting values" if n_held else ""
        lines.append(
            Markup('<li><a href="{}">{}</a>: {}{}</li>').format(
                f"{FOLDER}/{quote(place)}/maintenance.html", name, machines, kept
            )
        )
    told = (
        f"Each holds that customer's machines alone: page, calendar, wall cards. In {held} of them "
        f"a figure stands behind which there are fewer than {FEWEST_CUSTOMERS} customers; there "
        "the starting value is shown."
        if held
        else "Each holds that customer's machines alone: page, calendar, wall cards."
    )
    if len(customers_of(tasks)) > len(names) and not asked_for(asked):
        told += (
            f" These are the {len(names)} customers with the most machines, of "
            f"{wording.count(len(customers_of(tasks)), 'customer')}; name others in [report] "
            "customer."
        )
    return Section(
        title,
        f"{wording.count(len(names), 'pack')} in the folder {FOLDER}.",
        (told,),
        (Markup("<ul>{}</ul>").format(Markup("").join(lines)),),
    )
