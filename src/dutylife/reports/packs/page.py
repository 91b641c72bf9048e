"""The page of a customer pack, made of the sections of the shop's maintenance page."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.failed import FailedSection, missing_line, sections_made
from dutylife.reports.layout import Section
from dutylife.reports.maintenance import coming_year, maintenance_page
from dutylife.reports.maintenance.kept_section import kept_since
from dutylife.reports.maintenance.maintenance_page import interval_said, range_words
from dutylife.reports.maintenance.on_condition import on_condition
from dutylife.reports.maintenance.present_schedule import beside_present
from dutylife.reports.maintenance.visits_section import next_visits, visits_soon
from dutylife.reports.packs.behind import FEWEST_CUSTOMERS
from dutylife.reports.packs.listing import FOLDER
from dutylife.reports.tables import Shown, html_table
from dutylife.reports.whole_page import write_whole_page

PAGE, CARDS = "maintenance.html", "wall-cards.html"
_TITLES = {PAGE: "Maintenance", CARDS: "Wall cards"}


def links_of(here: str) -> list[tuple[str, str, bool]]:
    """Return the two pages of a pack, for its head."""
    return [(name, title, name == here) for name, title in _TITLES.items()]


def pack_page(run: Run, path: Path, files_missing: Sequence[str] = ()) -> list[FailedSection]:
    """Write the page of a pack, every section that can be made on it.

    Parameters
    ----------
    run : Run
        The pack's tables.
    path : Path
        The file to write.
    files_missing : sequence of str
        Files of the pack that could not be made.

    Returns
    -------
    list of FailedSection
        Those that could not be made. Of their errors the page says the kind alone: the words of
        an error may name another customer.
    """
    given = facts_of(run)
    named = {section.__name__.replace("_", " "): section for section in SECTIONS}
    page = f"{FOLDER}/{path.parent.name}/{path.stem}"
    made, failed = sections_made(named, run, page, reason=lambda error: type(error).__name__)
    body = Markup("\n").join(Markup(s.html) for s in made if s.answer or s.sentences or s.parts)
    lead = Markup('<h1>Maintenance of {}</h1>\n<p class="text_cell">{}</p>\n').format(
        given.customer,
        "Your machines only: what is due, at what interval, and what it saves you.",
    )
    lead += missing_line(list(files_missing), "file of this run")
    lead += missing_line([one.section for one in failed])
    write_whole_page(path, "Maintenance", lead + body, given, links_of(PAGE))
    return failed


def intervals(run: Run) -> Section:
    """Return what is advised for each part in the duties of these machines, and on whose record."""
    given, rows = facts_of(run), plain(run.table("intervals"))
    rows = rows.sort_values(["component", "duty", "task"])
    rows = rows.assign(
        at=[interval_said(r, given) for r in records(rows)],
        why=[_why(r, given) for r in records(rows)],
        span=[range_words(r, given) for r in records(rows)],
    )
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        Shown(name="at", heading="do"),
        Shown(name="span", heading="costs nearly the same"),
        Shown(name="probability_it_pays", heading="it pays", write=wording.chances),
        Shown(name="why", heading="why", wide=True),
    ]
    return Section(
        "Intervals",
        "",
        (
            f"A figure that rests on other customers' machines too is shown only where at least "
            f"{FEWEST_CUSTOMERS} customers stand behind it; else the starting value stands. Dates "
            "of visits are the shop's plan.",
        ),
        (html_table(rows, shown, caption="By component and duty.",
                    none="No interval is known for these machines yet."),),
    )  # fmt: skip


def _why(row: Any, given: Facts) -> str:
    """What it saves this customer, with its range, and whose record it stands on."""
    saving, low, high = (
        getattr(row, f"saving_per_1000_hours_cost{end}") for end in ("", "_lower", "_upper")
    )
    if row.task != "replace" or not saving > 0:
        return str(row.sentence)
    return (
        f"Saves you {wording.money(saving, '')} ({wording.money(low, '')} to "
        f"{wording.money(high, given.currency)}) per 1000 {given.meter_short} against waiting for "
        f"failure. {row.sentence}"
    )


def what_it_changes(run: Run) -> Section:
    """Return a year of each plan for this customer, or why it is not shown."""
    given = facts_of(run)
    told = lost_day_words(run)
    if run.table("plan_comparison").empty:
        why = (
            f"Not shown: figures behind it rest on machines of fewer than {FEWEST_CUSTOMERS} "
            "customers."
            if run.info["withheld"]
            else "No year could be simulated for your machines."
        )
        return Section("What the plan changes in a year", "", (why, *told))
    made = coming_year.what_the_plan_changes(run)
    range_ = f"{round(100 * given.confidence_level)} %"
    how = (
        "Expected figures of one year for your machines in service, with their ages, use and "
        f"duties; in brackets the {range_} range of the expectation. Work that keeps what can "
        "hurt someone from failing is in every plan."
    )
    return Section(made.title, made.answer, (how, *told), made.parts)


def lost_day_words(run: Run) -> tuple[str, ...]:
    """Say what a lost day is taken to cost this customer."""
    given, price = facts_of(run), run.info.get("lost_day_cost")
    if price is None:
        return ("What a lost day costs you is not stated: tell the shop, and it is counted.",)
    return (f"A lost day is taken to cost you {wording.money(float(price), given.currency)}.",)


SECTIONS: tuple[Callable[[Run], Section], ...] = (
    next_visits, kept_since, what_it_changes, maintenance_page.can_hurt,
    maintenance_page.cautions, beside_present, intervals, on_condition,
    coming_year.keep_or_retire, visits_soon,
)  # fmt: skip
