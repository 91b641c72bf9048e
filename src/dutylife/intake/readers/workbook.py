"""Workbooks (.xlsx, .xls, .xlsb, .ods): every sheet, native dates and numbers as plain text."""

import datetime as dt
import io
import zipfile
from typing import Any

from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import ReadNote, Sheet, Source, no_table, sheet_of
from dutylife.intake.readers.workbook_area import require_area
from dutylife.intake.readers.workbook_cells import WorkbookError, cells_apart, cells_of
from dutylife.settings import Export

_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


def read_workbook(source: Source, export: Export, _key: str) -> list[Sheet]:
    """Read every sheet of a workbook; a merged cell's text stands in its first column's cells.

    Raises
    ------
    ExportError
        It is damaged, locked by a password, or holds another kind of document.
    """
    require_area(source)
    is_plain = source.data.startswith(b"PK") and b"xl/workbook.bin" not in source.data
    try:
        read = cells_of(source.data) if is_plain else cells_apart(source.data)
    except WorkbookError as error:
        raise no_table(
            f"The workbook can't be opened: {error}.",
            source,
            "save it again as .xlsx, without a password",
        ) from error
    return [_sheet(source, name, rows, merged, export) for name, rows, merged in read]


def _sheet(
    source: Source, name: str, rows: list[list[Any]], merged: list[Any], export: Export
) -> Sheet:
    cells = [[cell_text(value, export.decimal) for value in row] for row in rows]
    n_filled = 0
    for (top, left), (bottom, _) in merged:
        # a title over several columns stays in the first; a ticket over several rows is in each
        for row in range(top + 1, min(bottom, len(cells) - 1) + 1):
            if left < len(cells[row]) and cells[row][left] == "":
                cells[row][left] = cells[top][left]
                n_filled += 1
    notes: tuple[ReadNote, ...] = ()
    if n_filled:
        notes = (ReadNote(f"{n_filled} cells of merged ranges took the text of their first cell."),)
    return sheet_of(source, name, cells, is_typed=True, notes=notes)


def cell_text(value: Any, decimal: str = "") -> str:
    """Text of a native value: ISO dates, whole numbers without a point, "" for nothing.

    Examples
    --------
    >>> cell_text(12.0), cell_text(9.5, ","), cell_text(dt.datetime(2024, 1, 5))
    ('12', '9,5', '2024-01-05')
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        if value != value:
            return ""
        text = str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        return text.replace(".", decimal or ".")
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return _other_text(value, decimal)


def _other_text(value: Any, decimal: str) -> str:
    from decimal import Decimal

    if isinstance(value, dt.timedelta):
        return cell_text(value / dt.timedelta(hours=1), decimal)
    if isinstance(value, Decimal):
        # 12.50 stays as typed; 1E+2 is written out
        return format(value, "f").replace(".", decimal or ".")
    if isinstance(value, (bytes, bytearray, memoryview)):
        return bytes(value).decode("utf-8", errors="replace")
    return str(value)


def _is_workbook(head: bytes) -> bool:
    if head.startswith(_OLD_WORKBOOK):
        return True
    # the first entry of the archive tells a workbook from a zip of files
    return head.startswith(b"PK\x03\x04") and (
        b"[Content_Types].xml" in head
        or b"_rels/.rels" in head[:200]
        or b"application/vnd.oasis.opendocument" in head[:200]
        or head[30:33] in (b"xl/", b"doc")
    )


def is_workbook_archive(data: bytes) -> bool:
    """Tell whether an archive is a workbook by the names of its members."""
    try:
        names = zipfile.ZipFile(io.BytesIO(data)).namelist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return False
    return "[Content_Types].xml" in names or "content.xml" in names


READER = Reader(
    name="workbook",
    endings=(".xlsx", ".xls", ".xlsb", ".xlsm", ".ods"),
    read=read_workbook,
    is_mine=_is_workbook,
)
