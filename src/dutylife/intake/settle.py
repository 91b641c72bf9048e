"""Signs and date order that the settings leave open, settled by whole files at once."""

import pandas as pd

from dutylife.errors import SettingsError
from dutylife.intake.layout import RawTable
from dutylife.intake.values import (
    DateEvidence,
    NumberEvidence,
    date_evidence,
    number_evidence,
    read_dates,
)  # fmt: skip
from dutylife.settings import Export
from dutylife.vocabulary import COLUMNS


def settled_exports(
    exports: list[Export], raws: list[RawTable], keys: list[str], source: str
) -> list[Export]:
    """Exports with ``date_order``, ``decimal`` and ``thousands`` filled.

    What one export's files hold is looked at together: a month without a day above the 12th is
    read as its sister files are.

    Parameters
    ----------
    exports, raws, keys : list
        One entry a file; files of one ``[[exports]]`` share their key.
    source : str
        The settings file, for messages.

    Raises
    ------
    SettingsError
        The cells can't decide; the message names the key and a cell that may be read in two ways.
    """
    settled: dict[str, dict[str, str]] = {}
    for key, export in zip(keys, exports, strict=True):
        if key in settled:
            continue
        mine = [r for r, k in zip(raws, keys, strict=True) if k == key]
        where = f"{', '.join(r.label for r in mine[:3])} ({source}: {key}"
        told: dict[str, str] = {}
        if not export.date_order:
            told["date_order"] = _order(export, mine, where)
        if not export.decimal:
            numbers = evidence_of_numbers(mapped_cells(export, mine, "number"), mine)
            if not numbers.decimal:
                raise SettingsError(
                    f"The decimal mark can't be told: {numbers.reason}.",
                    f"{where}.decimal)",
                    f'set decimal = "." or "," in {key}',
                )
            told["decimal"] = numbers.decimal
            if not export.thousands and numbers.thousands != numbers.decimal:
                told["thousands"] = numbers.thousands
        settled[key] = told
    return [e.model_copy(update=settled[k]) for e, k in zip(exports, keys, strict=True)]


def _order(export: Export, raws: list[RawTable], where: str) -> str:
    dates = evidence_of_dates(mapped_cells(export, raws, "date"), raws)
    if dates.order:
        return dates.order
    raise SettingsError(
        f"Day and month can't be told apart: {order_question(dates)}",
        f"{where}.date_order)",
        'set date_order = "dmy" (day first) or "mdy" (month first), or "ymd"',
    )


def order_question(dates: DateEvidence) -> str:
    """Ask a person which of the days a cell may mean is meant, with what to write for each.

    Examples
    --------
    >>> asked = order_question(DateEvidence("", 3, example="03.04.2025"))
    >>> asked.partition(" or ")[0]
    'is 03.04.2025 the 3 April 2025 (write date_order = "dmy")'
    >>> asked.partition(" or ")[2]
    'the 4 March 2025 (write date_order = "mdy")? No other date of the file tells.'
    """
    meant = {o: read_dates(pd.Series([dates.example]), o).iloc[0] for o in ("dmy", "mdy", "ymd")}
    read: dict[pd.Timestamp, str] = {}
    for order, day in meant.items():
        if pd.notna(day):
            read.setdefault(day, order)
    if len(read) < 2:
        return f"which order do the dates have, day first or month first? {dates.reason}."
    told = " or ".join(
        f'the {day.day} {day:%B %Y} (write date_order = "{order}")' for day, order in read.items()
    )
    return f"is {dates.example} {told}? No other date of the file tells."


def evidence_of_dates(columns: list[pd.Series], raws: list[RawTable]) -> DateEvidence:
    """Evidence of date columns that may come from files with types of their own."""
    return date_evidence(columns, is_typed=bool(raws) and all(r.is_typed for r in raws))


def evidence_of_numbers(columns: list[pd.Series], raws: list[RawTable]) -> NumberEvidence:
    """Evidence of number columns that may come from files with types of their own."""
    return number_evidence(columns, is_typed=bool(raws) and all(r.is_typed for r in raws))


def mapped_cells(export: Export, raws: list[RawTable], kind: str) -> list[pd.Series]:
    """Cells of the mapped columns of a kind ("date" or "number"), rows that are records only."""
    wanted = {
        " ".join(s.column.split()).casefold()
        for ours, s in export.columns.items()
        if COLUMNS[ours].kind == kind
    }
    out = []
    for raw in raws:
        for header in map(str, raw.cells.columns):
            ours = COLUMNS.get(header.lower().replace(" ", "_"))
            if header.casefold() in wanted or (ours is not None and ours.kind == kind):
                out.append(raw.cells[header][raw.usable])
    return out
