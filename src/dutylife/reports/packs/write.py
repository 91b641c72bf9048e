"""Write the packs of a run: DIR/customers/NAME with page, wall cards and calendar."""

import shutil
from collections.abc import Iterable
from pathlib import Path

from dutylife.provenance import open_run
from dutylife.reports.calendar import calendar_of, calendar_title
from dutylife.reports.earlier_calendars import NAME as CALENDAR
from dutylife.reports.earlier_calendars import earlier_packs
from dutylife.reports.facts import facts_of, table_or_empty
from dutylife.reports.failed import FailedSection, told
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
        missing += pack_page(pack, path / PAGE)
        cards_of(pack, links_of(CARDS), path / CARDS)
        known = before.get(calendar_title(facts_of(pack)), {})
        calendar_of(pack, known, path / CALENDAR)
        out[name] = path
    told(missing, failed)
    return out
