"""The sheet as one page: hazards first; a section that fails says so there and to the caller."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from dutylife.provenance import digest_of
from dutylife.reports.failed import missing_line, sections_made
from dutylife.reports.layout import Section
from dutylife.reports.sheet import due, first, past
from dutylife.reports.sheet.machine import MachineSheet
from dutylife.reports.whole_page import links_of_run, write_whole_page

SECTIONS: dict[str, Callable[[MachineSheet], Section]] = {
    "machine": first.machine,
    "cautions": first.cautions,
    "check first": first.check_first,
    "measure": first.measure,
    "due now": due.due_now,
    "parts to bring": due.parts_to_bring,
    "price": due.price,
    "parts in place": past.parts_in_place,
    "visits": past.visits,
}
_LONGEST_NAME = 60
_CSS = """
h1, .dutylife p { overflow-wrap: anywhere; }
.dutylife .said { font-size: 17px; }
@page { margin: 9mm 11mm; }
@media print {
  .masthead { padding: 0; font-size: 9pt; }
  h1 { font-size: 14pt; margin: 0; }
  .dutylife h2 { margin: 7px 0 1px; padding-top: 3px; font-size: 11pt; }
  .dutylife .answer { font-size: 10pt; }
  .dutylife p, .dutylife ul { margin: 1px 0; font-size: 8.5pt; line-height: 1.25; max-width: none; }
  .dutylife li { margin: 1px 0; }
  .dutylife .said { font-size: 10.5pt; }
  .dutylife table { margin: 2px 0 3px; font-size: 8.5pt; }
  .dutylife thead th, .dutylife caption, .dutylife th small, .dutylife td small { font-size: 8pt; }
  .dutylife thead th { padding: 1px 8px 1px 0; }
  .dutylife tbody th, .dutylife tbody td { padding: 1px 8px 1px 0; line-height: 1.15; }
  .dutylife td.text, .dutylife tbody th, .dutylife td.text:nth-child(2) { min-width: 9ch; }
  footer { margin-top: 6px; padding-top: 3px; }
  footer p { font-size: 8pt; margin: 1px 0; max-width: none; }
}
"""


@dataclass(frozen=True, slots=True)
class SheetPage:
    """A written sheet.

    Parameters
    ----------
    path : Path
    answer : str
        What to check first, in words; blank where that section failed.
    failed : dict of str to str
        Sections that could not be made, by name, with the whole error.
    """

    path: Path
    answer: str
    failed: dict[str, str]


def write_sheet(sheet: MachineSheet) -> SheetPage:
    """Write DIR/sheet-UNIT.html, every section that can be made on it.

    Parameters
    ----------
    sheet : MachineSheet

    Returns
    -------
    SheetPage
    """
    given = sheet.given
    path = sheet.run.folder / f"{file_name(sheet.unit_id)}.html"
    made, missing = sections_made(SECTIONS, sheet, path.stem)
    failed = {one.section: one.trace for one in missing}
    head = Markup("<h1>{}</h1>\n").format(f"Machine {sheet.unit_id}") + missing_line(list(failed))
    body = Markup("\n").join(Markup(s.html) for s in made)
    write_whole_page(
        path, f"Machine {sheet.unit_id}", head + body, given, links_of_run(""), css=_CSS
    )
    answer = "" if "check first" in failed else sheet.causes.text
    return SheetPage(path, answer, failed)


def file_name(unit_id: str) -> str:
    """Name of a machine's page without ending; of a name no file can have with its digest.

    Examples
    --------
    >>> file_name("TA-001"), file_name("../x").startswith("sheet-..-x-")
    ('sheet-TA-001', True)
    """
    name = re.sub(r"[^\w.-]+", "-", unit_id)[:_LONGEST_NAME]
    return f"sheet-{name}" if name == unit_id else f"sheet-{name}-{digest_of(unit_id, length=8)}"
