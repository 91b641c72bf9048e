"""A card for the wall, one for each machine: which task, when, and who does it."""

from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.components import shipped_components
from dutylife.decisions.visits.jobs import GROUP_DAYS
from dutylife.provenance import Run, open_run
from dutylife.reports.cautions import CALENDAR_LINE, CAUTIONS, FOOTER
from dutylife.reports.facts import Facts, day, facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section, listed
from dutylife.reports.maintenance.card_cautions import SHORT, hazards_of
from dutylife.reports.most import MOST_CARDS, first_of
from dutylife.reports.overdue_work import UNTIL_DONE
from dutylife.reports.tables import Shown, html_table
from dutylife.reports.whole_page import links_of_run, write_whole_page

NAME = "wall-cards.html"
_WHO = ("operator", "yard", "qualified person")
_CSS = """
.card { margin: 26px 0 34px; border: 2px solid #17211f; padding: 4px 18px 12px; }
.card h3 { font-size: 24px; line-height: 1.2; margin: 10px 0 0; overflow-wrap: anywhere; }
.card .when { font-size: 17px; font-weight: 600; margin: 4px 0 8px; }
.card table { font-size: 15px; }
.card .whom { font-size: 13px; color: #4a5653; margin: 0; }
@media print {
  .card { break-before: page; break-inside: avoid; margin: 0; }
  .card { padding: 2px 12px 6px; }
  .card h3 { font-size: 15pt; }
  .card table, .card thead th, .card .whom, .card small { font-size: 8pt !important; }
  .card table { line-height: 1.2; }
  .card table { margin: 2px 0; }
  .card table th, .card table td { padding: 1.5px 8px 1.5px 0 !important; }
  .card .whom { max-width: none; }
  .dutylife h2 { position: absolute; width: 1px; height: 1px; overflow: hidden; }
  .dutylife h2 { clip-path: inset(50%); }
}
"""


def write_wall_cards(folder: str | Path) -> Path:
    """Write DIR/wall-cards.html: a card for each machine, grouped by customer.

    Parameters
    ----------
    folder : str or Path
        Run DIR with the tables machine_tasks and opportunities.

    Returns
    -------
    Path
    """
    run = open_run(Path(folder).resolve())
    links = links_of_run("wall-cards")
    return cards_of(run, links, run.folder / NAME)


def cards_of(run: Run, links: list[tuple[str, str, bool]], path: Path) -> Path:
    """Write the wall cards of a run's, or a pack's, machines.

    Parameters
    ----------
    run : Run
    links : list of (address, name, whether it is this page)
        Pages beside it.
    path : Path
        The file to write.

    Returns
    -------
    Path
    """
    given = facts_of(run)
    body = Markup("\n").join(Markup(s.html) for s in card_sections(run))
    body = Markup("<h1>Wall cards</h1>\n") + body
    return write_whole_page(path, "Wall cards", body, given, links, css=_CSS)


def card_sections(run: Run) -> list[Section]:
    """Return the lead, a section of cards for each customer, and the cautions in full."""
    given = facts_of(run)
    tasks = plain(table_or_empty(run, "machine_tasks"))
    chances = plain(table_or_empty(run, "opportunities"))
    past = {(row.component, row.duty): row for row in records(chances)}
    machines = tasks["unit_id"].nunique()
    first = first_of(machines, MOST_CARDS, "machine in service", "machines in service")
    if first:
        coming = tasks.groupby("unit_id")["next_on"].min().sort_values(kind="stable")
        tasks = tasks[tasks["unit_id"].isin(coming.index[:MOST_CARDS])]
    out = [
        Section(
            "",
            f"Cards of {first}, by next visit; table machine_tasks holds all. Print them and hang "
            "each one where its machine stands."
            if first
            else f"{wording.count(machines, 'card')}, one for each machine in service; print them "
            "and hang each one where its machine stands."
            if machines
            else "No machine in service has a task.",
            (
                "The operator does the short checks between visits, the yard what needs a bench, "
                "a qualified person what can hurt someone. The maker's manual stands above a card.",
            ),
        )
    ]  # fmt: skip
    for customer, rows in tasks.groupby("customer", sort=True):
        cards = tuple(_card(mine, past, given) for _, mine in rows.groupby("unit_id", sort=True))
        out.append(Section(str(customer) or "Customer not known", parts=cards))
    if machines:
        out.append(
            Section(
                "Cautions in full",
                parts=(listed([f"{hazard}. {what}" for hazard, what in CAUTIONS]),),
            )
        )
    return out


def _card(rows: pd.DataFrame, past: dict[tuple[str, str], Any], given: Facts) -> Markup:
    """One machine's card."""
    first = rows.iloc[0]
    coming = rows["next_on"].min()
    when = (
        f"Next visit: {day(coming)}, or when it is in up to {GROUP_DAYS:.0f} days before"
        if pd.notna(coming)
        else f"No visit within {wording.count(given.horizon_months, 'month')}"
    )
    order = {who: place for place, who in enumerate(_WHO)}
    tasks = records(rows)
    rows = rows.assign(
        place=rows["done_by"].map(order),
        when=[_when(r, given) for r in tasks],
        often=[_often(r, given) for r in tasks],
        open=[_if_open(r, past, given) for r in tasks],
        care=[_care(r) for r in tasks],
        what=[_what(r) for r in tasks],
    ).sort_values(["next_on", "place", "component", "task"], na_position="last")
    table = html_table(
        rows,
        [
            Shown(name="what", heading="task"),
            Shown(name="when", heading="when"),
            Shown(name="often", heading="then every"),
            Shown(name="done_by", heading="who"),
            Shown(name="open", heading="if open anyway"),
            Shown(name="care", heading="caution", wide=True),
        ],
        caption=f"Tasks of {first['unit_id']}.",
        caption_unseen=True,
    )
    facts = " | ".join(t for t in (first["equipment_class"], first["duty"], first["customer"]) if t)
    return Markup(
        '<article class="card"><h3>{}</h3><p class="whom">{}</p><p class="when">{}</p>{}'
        '<p class="whom">{} {}</p></article>'
    ).format(first["unit_id"], facts, when, table, CALENDAR_LINE, FOOTER)


def _what(row: Any) -> str:
    part = "" if row.part_number in ("", row.component) else f"\npart {row.part_number}"
    return f"{row.task} {row.component}{part}"


def _when(row: Any, given: Facts) -> str:
    if row.rides_along and row.done_by != "operator":
        return "when next in" + (f"\n{day(row.next_on)}" if pd.notna(row.next_on) else "")
    if pd.notna(row.next_on):
        return day(row.next_on) + ("\noverdue" if row.is_overdue else "")
    if row.done_by == "operator":
        return "between visits"
    if row.is_overdue:
        return "overdue\nwhen next in"
    return f"after {day(given.as_of + pd.DateOffset(months=given.horizon_months))}"


def _often(row: Any, given: Facts) -> str:
    if given.customer and pd.isna(row.interval_hours) and pd.isna(row.interval_days):
        return "as the shop plans"
    return wording.every(row.interval_hours, row.interval_days, row.clock, given.meter_unit)


def _if_open(row: Any, past: dict[tuple[str, str], Any], given: Facts) -> str:
    """What to do with a part when the machine is open for something else."""
    chance = past.get((row.component, row.duty)) if row.task == "replace" else None
    if chance is None:
        return ""
    at = wording.one_clock(
        chance.change_if_open_past_hours, chance.change_if_open_past_days,
        row.clock or "days", given.meter_unit,
    )  # fmt: skip
    return f"change it past {at}" if at else ""


def _care(row: Any) -> str:
    component = shipped_components().get(row.component)
    hazards = hazards_of(component.system if component else "", row.can_hurt)
    care = " ".join(SHORT[h] for h in hazards)
    if row.is_overdue and row.can_hurt:
        care += f" {UNTIL_DONE}"
    return care.strip()
