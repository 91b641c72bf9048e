"""Files to sheets of text cells: one reader a kind of file, chosen by what the bytes are."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from pandas.api.types import is_object_dtype

from dutylife.errors import ExportError, SettingsError
from dutylife.intake.readers.registry import Reader, reader_for, readers
from dutylife.intake.readers.sheet import ReadNote, Sheet, Source
from dutylife.settings import Export

__all__ = ["ReadNote", "Reader", "Sheet", "Source", "read_sheets", "readers"]


def read_sheets(path: Path | str, export: Export, key: str) -> list[Sheet]:
    """Read every table of a file or database as text cells.

    Parameters
    ----------
    path : Path or str
        A file, or a database address (text with ``://``).
    export : Export
        What the settings state; keys left blank are settled by evidence.
    key : str
        The settings key, for messages.

    Returns
    -------
    list of Sheet
        In the order of the file; narrowed to ``export.sheet`` and ``export.member`` where given.

    Raises
    ------
    ExportError
        The file is empty, damaged, locked, or no table.
    SettingsError
        The encoding, sheet or address can't be used.
    """
    if isinstance(path, str) and "://" in path:
        from dutylife.intake.readers.database import read_address  # sqlalchemy is slow to import

        return read_address(path, export, key)
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ExportError(
            f"The file can't be opened: {error.strerror}.", path.name,
            "close it in other programs, or check who may read it",
        ) from error  # fmt: skip
    if not data:
        raise ExportError("The file is empty (0 bytes).", path.name, "export it again")
    source = Source(path, path.name, data)
    sheets = reader_for(source, key).read(source, export, key)
    if not sheets:
        raise ExportError("The file holds no table.", path.name, "export it again")
    return [_without_nuls(sheet) for sheet in sheets]


def _without_nuls(sheet: Sheet) -> Sheet:
    """Take zero bytes out of cells: where text is compared, what stands behind one is not seen.

    Texts have lost theirs when they were decoded; JSON, databases and the like can hold some.
    """
    if sheet.encoding:  # text, decoded
        return sheet
    cells, rows = sheet.cells, np.zeros(len(sheet.cells), dtype=bool)
    for column in cells.columns[[is_object_dtype(kind) for kind in cells.dtypes]]:
        has = np.array(["\x00" in str(cell) for cell in cells[column]], dtype=bool)
        if has.any():
            cells = cells.copy()
            cells.loc[has, column] = [str(c).replace("\x00", "") for c in cells.loc[has, column]]
            rows |= has
    if not rows.any():
        return sheet
    first = int(sheet.source_rows[int(rows.argmax())])
    note = ReadNote(
        f"{int(rows.sum())} rows held zero bytes, which were left out (first in row {first}).",
        "look at these rows", first, "ask",
    )  # fmt: skip
    return replace(sheet, cells=cells, notes=(*sheet.notes, note))


def named_sheets(sheets: list[Sheet], export: Export, key: str) -> list[Sheet]:
    """Return the sheets that ``export.sheet`` names; all where it is blank.

    Raises
    ------
    SettingsError
        There is none of that name.
    """
    if not export.sheet:
        return sheets
    found = [s for s in sheets if s.name == export.sheet]
    found = found or [s for s in sheets if s.name.casefold() == export.sheet.casefold()]
    # tickets.items may be called items where no other level ends so
    found = found or [s for s in sheets if s.name.rpartition(".")[2] == export.sheet]
    if not found:
        raise SettingsError(
            f"The file has no sheet or table '{export.sheet}'.",
            f"{sheets[0].path.name} ({key}.sheet)",
            "it has: " + ", ".join(s.name or "one table without a name" for s in sheets),
        )
    return found
