"""Write the packs of a run: DIR/customers/NAME with page, wall cards and calendar."""

import shutil
from collections.abc import Iterable
from pathlib import Path

from dutylife.provenance import Run, open_run
from dutylife.reports.calendar import calendar_of, calendar_title
from dutylife.reports.earlier_calendars import NAME as CALENDAR
from dutylife.reports.earlier_calendars import Entry, earlier_packs
from dutylife.reports.facts import facts_of, table_or_empty
from dutylife.reports.failed import FailedSection, told
from dutylife.reports.failed_files import made_or_told, page_in_place
from dutylife.reports.maintenance.wall_cards import cards_of
from dutylife.reports.packs.behind import customers_behind
from dutylife.reports.packs.chosen import chosen_customers
from dutylife.reports.packs.folders import folder_names
from dutylife.reports.packs.listing import FOLDER
from dutylife.reports.packs.page import CARDS, PAGE, links_of, pack_page
from dutylife.reports.packs.tables import pack_of, shop_of
from dutylife.settings import settings_from


def write_customer_packs(
    folder: str | Path,
    earlier: Iterable[str | Path] = (),
    failed: list[FailedSection] | None = None,
) -> dict[str, Path]:
    """Write a pack for each customer that ``[report] customer`` asks for.

    Parameters
    ----------
    folder : str or Path
        Run DIR with tables/ and run.json.
    earlier : iterable of str or Path
        Earlier runs, whose packs' calendars keep their entries' names: files are passed over.
    failed : list of FailedSection, optional
        Takes up sections that could not be made; without it they are an error once all is written.

    Returns
    -------
    dict of str to Path
        DIR/customers/NAME by the customer's true name. Packs of a run made before are taken away.

    Raises
    ------
    RunError
        An earlier pack's calendar can't be read, or a section failed and ``failed`` is None.
    """
    run = open_run(Path(folder).resolve())
    settings = settings_from(run.info.get("settings", {}))
    names = chosen_customers(table_or_empty(run, "machine_tasks"), settings.report.customer)
    shutil.rmtree(run.folder / FOLDER, ignore_errors=True)
    if not names:
        return {}
    behind = customers_behind(run.table("failure_events"), run.table("life_models"))
    shop = shop_of(run, settings, behind)
    before = earlier_packs(earlier, facts_of(run).as_of)
    out, missing = {}, []
    for name, place in folder_names(names).items():
        pack = pack_of(shop, name)
        path = run.folder / FOLDER / place
        path.mkdir(parents=True)
        files = _beside(pack, path, before.get(calendar_title(facts_of(pack)), {}), failed)
        missing += pack_page(pack, path / PAGE, [Path(f.page).name for f in files])
        out[name] = path
    told(missing, failed)
    return out


def _beside(
    pack: Run, path: Path, known: dict[str, Entry], failed: list[FailedSection] | None
) -> list[FailedSection]:
    """Wall cards and calendar of a pack, each whole or not at all; those that failed.

    Of an error only the kind is shown: its words may name another customer.
    """
    given = facts_of(pack)
    makers = {
        CARDS: lambda: cards_of(pack, links_of(CARDS), path / CARDS),
        CALENDAR: lambda: calendar_of(pack, known, path / CALENDAR),
    }
    cards = page_in_place(path / CARDS, "Wall cards", given, links_of(CARDS), cautions=True)
    out: list[FailedSection] = []
    for name, make in makers.items():
        out += made_or_told(
            path / name, make, failed, name=f"{FOLDER}/{path.name}/{name}",
            stand_in=cards if name == CARDS else None, reason=lambda error: type(error).__name__,
        )  # fmt: skip
    return out
