"""Export files to tables of text: one reader for each kind of file, chosen by the name's ending."""

import csv
import datetime as dt
import glob
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.errors import ExportError, SettingsError
from dutylife.intake.values import on_unlike
from dutylife.provenance import file_digest
from dutylife.settings import Export

# first bytes of files that are no text, whatever their name says
_NO_TEXT = {
    b"PK\x03\x04": "a workbook or a zip archive",
    b"\xd0\xcf\x11\xe0": "an old workbook",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a compressed file",
}
_DELIMITERS = (";", "\t", "|", ",")


@dataclass(frozen=True, slots=True)
class RawTable:
    """A file as text cells.

    Parameters
    ----------
    cells : DataFrame
        One column a header cell (blank headers are called ``column N``), all text.
    source_row : Series of int
        Row of each record as a person counts it in the file, header included.
    fault : Series of str
        Why the row can't be used; blank when it can.
    n_short : int
        Rows with fewer cells than the header; the missing ones are read as blank.
    """

    path: Path
    cells: pd.DataFrame
    source_row: pd.Series
    fault: pd.Series
    n_short: int
    digest: str


def find_files(export: Export, folder: Path, key: str) -> list[Path]:
    """Return the files an export names: one path, or every match of a pattern, sorted.

    Raises
    ------
    ExportError
        No such file.
    SettingsError
        The path is a database address.
    """
    if "://" in export.path:
        raise SettingsError(
            "Reading from a database is not built yet.",
            f"{key}.path",
            "export the table to a csv file and give its path",
        )
    path = folder / export.path
    if path.is_file():
        return [path]
    if any(sign in export.path for sign in "*?["):
        found = sorted(Path(p) for p in glob.glob(str(path)) if Path(p).is_file())  # noqa: PTH207
        if found:
            return found
    there = sorted(p.name for p in path.parent.glob("*") if p.is_file())
    raise ExportError(
        f"The export '{export.path}' does not exist.",
        f"{key}.path",
        "correct the path (it starts at the settings file's folder); "
        + (f"that folder holds: {', '.join(there[:12])}" if there else "that folder is not there"),
    )


def read_raw(path: Path, export: Export, key: str) -> RawTable:
    """Read one file as text.

    Raises
    ------
    ExportError
        Empty, unreadable, not a table, or a header without rows.
    """
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise ExportError(
            f"Files ending in '{path.suffix}' can't be read.",
            f"{path.name} ({key}.path)",
            "save it as one of: " + ", ".join(sorted(_READERS)),
        )
    if path.stat().st_size == 0:
        raise ExportError("The file is empty (0 bytes).", path.name, "export it again")
    return _as_raw(path, reader(path, export, key), export, key)


def _as_raw(
    path: Path, records: Iterator[tuple[int, list[str]]], export: Export, key: str
) -> RawTable:
    header: list[str] = []
    rows: list[int] = []
    cells: list[list[str]] = []
    faults: list[str] = []
    n_short = 0
    for number, record in records:
        if number < export.header_row:
            continue
        if not header:
            header = _header(path, record, export, key)
            names = header
            first = {record[0], names[0]}
            continue
        fault = ""
        if not "".join(record).strip():
            fault = "blank row"
        elif record[0] in first and [" ".join(c.split()) for c in record][: len(names)] == names:
            fault = "header repeated"
        elif "".join(record[len(names) :]).strip():
            fault = "row has more cells than the header"
        elif len(record) < len(names):
            n_short += 1
        rows.append(number)
        faults.append(fault)
        cells.append((record + [""] * (len(names) - len(record)))[: len(names)])
    if not rows or all(f in ("blank row", "header repeated") for f in faults):
        raise ExportError(
            "The export has a header but no rows."
            if header
            else f"The file ends before header_row = {export.header_row}.",
            path.name,
            "export it again with the period filled, or correct header_row",
        )
    return RawTable(
        path=path,
        cells=_trimmed(pd.DataFrame(cells, dtype="object")).set_axis(header, axis=1),
        source_row=pd.Series(rows, dtype="int64"),
        fault=pd.Series(faults, dtype="object"),
        n_short=n_short,
        digest=file_digest(path),
    )


def _trimmed(cells: pd.DataFrame) -> pd.DataFrame:
    """Cells without outer blanks, inner ones single; each unlike cell is looked at once."""
    return cells.apply(lambda c: on_unlike(c, lambda u: u.map(lambda text: " ".join(text.split()))))


def _header(path: Path, record: list[str], export: Export, key: str) -> list[str]:
    names = [" ".join(c.split()) or f"column {i}" for i, c in enumerate(record, 1)]
    if len([c for c in record if c.strip()]) >= 2:
        return names
    line = record[0] if record else ""
    other = [d for d in _DELIMITERS if d in line and d != export.delimiter]
    shown = {"\t": "\\t"}
    if other:
        raise ExportError(
            f"The header row holds a single column: {line[:60]!r}.",
            f"{path.name}, row {export.header_row}",
            f'set delimiter = "{shown.get(other[0], other[0])}" in {key}',
        )
    raise ExportError(
        f"This is not a table: row {export.header_row} holds a single cell {line[:40]!r}.",
        path.name,
        f"give header_row in {key} if the header stands lower, or export it as a table",
    )


def _read_text(path: Path, export: Export, key: str) -> Iterator[tuple[int, list[str]]]:
    lines = _decoded(path, export, key).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if lines[-1] == "":
        lines.pop()
    delimiter = export.delimiter
    if path.suffix.lower() == ".tsv" and delimiter == ",":
        delimiter = "\t"
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=delimiter)
    width = 0
    start = 1
    try:
        for record in reader:
            end = reader.line_num
            spread = lines[start - 1 : end]
            yield from _untangled(start, record, spread, width, delimiter, path, end == len(lines))
            width = width or (len(record) if start >= export.header_row else 0)
            start = end + 1
    except csv.Error as error:
        raise ExportError(
            f"The file can't be read as a table: {error}.",
            f"{path.name}, row {start}",
            "correct the quotes in that row, or export it again",
        ) from error


def _untangled(
    start: int,
    record: list[str],
    spread: list[str],
    width: int,
    delimiter: str,
    path: Path,
    is_last: bool,
) -> Iterator[tuple[int, list[str]]]:
    """A record over several lines is taken apart when each of its lines is a whole row.

    Then the quote that joined them was a plain sign, e.g. an inch mark.
    """
    if len(spread) == 1:
        yield start, record
        return
    plain = [line.split(delimiter) for line in spread]
    if width and all(len(p) == width for p in plain):
        for number, cells in enumerate(plain, start):
            yield number, [c.strip('"') for c in cells]
        return
    text = "".join(f"{line}\n" for line in spread)
    if is_last and text.count('"') % 2:
        raise ExportError(
            f"A quote opened in row {start} is never closed; {len(spread)} rows hang on it.",
            f"{path.name}, row {start}",
            "close or remove the quote in that row",
        )
    yield start, record


def _decoded(path: Path, export: Export, key: str) -> str:
    data = path.read_bytes()
    for start, what in _NO_TEXT.items():
        if data.startswith(start):
            raise ExportError(
                f"This is not a table: the file is {what}.",
                path.name,
                "export it as csv, or give it the ending it needs (.xlsx for a workbook)",
            )
    encoding = export.encoding or "utf-8-sig"
    try:
        text = data.decode(encoding)
    except LookupError as error:
        raise SettingsError(
            f"'{encoding}' is not a text encoding.", f"{key}.encoding", 'for example "cp1252"'
        ) from error
    except UnicodeError as error:
        wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
        line = data[: getattr(error, "start", 0)].count(b"\n") + 1
        raise ExportError(
            f"The file is not readable as {encoding}.",
            f"{path.name}, row {line}",
            f"set the key encoding in {key}, for example encoding = "
            f'"{"utf-16" if wide else "cp1252"}"',
        ) from error
    if "\x00" in text:
        raise ExportError(
            "This is not a table: the file holds binary data.",
            path.name,
            f'export it as csv; if it is text, set encoding in {key}, for example "utf-16"',
        )
    if text.lstrip().lower().startswith(("<!doctype", "<html")):
        raise ExportError(
            "This is a web page, not a table.", path.name, "export it as csv or as a workbook"
        )
    if not text.strip():
        raise ExportError("The file holds no text.", path.name, "export it again")
    return text


def _read_workbook(path: Path, export: Export, key: str) -> Iterator[tuple[int, list[str]]]:
    from python_calamine import CalamineError, CalamineWorkbook  # slow to import

    try:
        book = CalamineWorkbook.from_path(str(path))
    except (CalamineError, OSError) as error:
        raise ExportError(
            f"The workbook can't be opened: {error}.",
            path.name,
            "save it again as .xlsx, without a password",
        ) from error
    names = book.sheet_names
    if export.sheet and export.sheet not in names:
        raise ExportError(
            f"The workbook has no sheet '{export.sheet}'.",
            f"{path.name} ({key}.sheet)",
            "it has: " + ", ".join(names),
        )
    sheet = book.get_sheet_by_name(export.sheet) if export.sheet else book.get_sheet_by_index(0)
    for number, row in enumerate(sheet.to_python(skip_empty_area=False), 1):
        yield number, [_cell_text(value, export.decimal) for value in row]


def _cell_text(value: Any, decimal: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        return text.replace(".", decimal)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return str(value)


_READERS: dict[str, Callable[[Path, Export, str], Iterator[tuple[int, list[str]]]]] = {
    ".csv": _read_text,
    ".tsv": _read_text,
    ".txt": _read_text,
    ".xlsx": _read_workbook,
    ".xls": _read_workbook,
    ".xlsb": _read_workbook,
    ".ods": _read_workbook,
}
