"""The files beside a run's three pages: order list, calendar, wall cards, lives, data slip."""

from collections.abc import Iterable
from pathlib import Path

from dutylife.provenance import open_run
from dutylife.reports import calendar, workbook
from dutylife.reports.evidence import data_slip, lives_page
from dutylife.reports.facts import facts_of
from dutylife.reports.failed import FailedSection
from dutylife.reports.failed_files import made_or_told, page_in_place
from dutylife.reports.maintenance import wall_cards
from dutylife.reports.whole_page import OTHER_PAGES, links_of_run

# page whose first screen says that the file is missing
TOLD_ON = {
    "order-list.xlsx": "stock", "maintenance-calendar.ics": "maintenance",
    "wall-cards.html": "maintenance", "lives.html": "evidence", "data-slip.html": "evidence",
}  # fmt: skip


def write_other_files(
    folder: str | Path,
    earlier: Iterable[str | Path] = (),
    failed: list[FailedSection] | None = None,
) -> list[Path]:
    """Write each file that can be made, whole or not at all.

    Parameters
    ----------
    folder : str or Path
        Run DIR with tables/ and run.json.
    earlier : iterable of str or Path
        Calendars of earlier runs, as `write_calendar`.
    failed : list of FailedSection, optional
        Takes up files that could not be made, which `write_pages` then says on first screens;
        without it the first error goes on.

    Returns
    -------
    list of Path
        Files written, pages that stand for a failed one left out.

    Raises
    ------
    DutylifeError, OSError
        As `made_or_told`.
    """
    run = open_run(Path(folder).resolve())
    given, places = facts_of(run), list(earlier)
    makers = {
        "order-list.xlsx": lambda: workbook.write_order_list(run.folder),
        "maintenance-calendar.ics": lambda: calendar.write_calendar(run.folder, places),
        "wall-cards.html": lambda: wall_cards.write_wall_cards(run.folder),
        "lives.html": lambda: lives_page.write_lives_page(run.folder),
        "data-slip.html": lambda: data_slip.write_data_slip(run.folder),
    }
    written = []
    for name, make in makers.items():
        path = run.folder / name
        stem = path.stem
        instead = (
            page_in_place(path, OTHER_PAGES[stem], given, links_of_run(stem),
                          cautions=stem == "wall-cards")
            if stem in OTHER_PAGES
            else None
        )  # fmt: skip
        if not made_or_told(path, make, failed, stand_in=instead):
            written.append(path)
    return written
