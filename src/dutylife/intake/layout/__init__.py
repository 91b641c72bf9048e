"""A sheet of cells to a table: header found, rows told from titles, totals, pages and footers."""

from dataclasses import replace

import numpy as np
import pandas as pd

from dutylife.errors import ExportError
from dutylife.intake.layout.fill import blank_below, filled_down
from dutylife.intake.layout.header import find_header, unlike_names
from dutylife.intake.layout.rows import REPEATED, TOO_LONG, find_faults
from dutylife.intake.layout.table import RawTable
from dutylife.intake.readers.delimiter import SIGNS
from dutylife.intake.readers.sheet import ReadNote, Sheet
from dutylife.intake.values import no_text, retold
from dutylife.settings import Export

__all__ = ["NoRowsError", "RawTable", "lay_out"]

_LOOKED_AT = 600
# a column beyond the header that so many rows fill was left out of the header, not overfilled
_UNNAMED_SHARE = 0.5


class NoRowsError(ExportError):
    """A table has a header and no rows: nothing was sold in its period, or the export failed."""


def lay_out(sheet: Sheet, export: Export, key: str) -> RawTable:
    """Find the header of a sheet and what each row below it is.

    Parameters
    ----------
    sheet : Sheet
    export : Export
        ``header_row`` is taken where it is stated; ``fill_down`` is done where it is true.
    key : str
        The settings key, for messages.

    Raises
    ------
    ExportError
        No table: a single column, a header without rows, or nothing at all.
    """
    cells = sheet.cells if sheet.is_trimmed else trimmed(sheet.cells)
    if sheet.header:
        raw = _under(sheet, cells, list(sheet.header), -1)
    else:
        at = _header_at(sheet, cells, export)
        names = [] if at is None else _row_of(cells, at)[: int(sheet.n_cells[at])]
        if at is not None:
            _require_columns(sheet, names, at, key)
        raw = _under(sheet, cells, names, -1 if at is None else at)
        if at is None:
            raw = replace(raw, has_header=False, header_row=0)
    if not raw.usable.any() and raw.fault.isin(["blank row", REPEATED]).all():
        raise NoRowsError(
            "The export has a header but no rows.",
            sheet.label,
            "export it again with the period filled, or correct header_row",
        )
    raw = _with_breaks(raw, sheet, export)
    raw = replace(raw, fills_down=blank_below(raw.cells, raw.fault))
    if export.fill_down and raw.fills_down:
        raw = replace(raw, cells=filled_down(raw.cells, raw.fault, raw.fills_down))
    return raw


def _with_breaks(raw: RawTable, sheet: Sheet, export: Export) -> RawTable:
    """Keep the line breaks of a cell whose parts they separate; elsewhere they are blanks."""
    given = export.parts_cell
    if given is None or "\n" not in given.separator or sheet.is_trimmed:
        return raw
    cells = raw.cells.copy()
    body = sheet.cells.iloc[len(sheet.cells) - len(cells) :]
    for position in range(body.shape[1]):
        name = next((c for c in cells if str(c).casefold() == given.column.casefold()), None)
        tidy = body[position].map(
            lambda text: "\n".join(" ".join(t.split()) for t in text.split("\n"))
        )
        flat = tidy.map(lambda text: " ".join(text.split()))
        if name is not None and (flat.to_numpy() == cells[name].to_numpy()).all():
            cells[name] = tidy.to_numpy()
            break
    return replace(raw, cells=cells)


def trimmed(cells: pd.DataFrame) -> pd.DataFrame:
    """Cells without outer blanks, inner ones single."""
    if cells.empty:
        return cells
    tidy = {c: retold(cells[c], _tidy) for c in cells}
    return pd.DataFrame(tidy, index=cells.index)


def _row_of(cells: pd.DataFrame, at: int) -> list[str]:
    return list(cells.iloc[at : at + 1].astype("object").to_numpy()[0])


def _tidy(texts: list[str]) -> list[str]:
    return [" ".join(text.split()) for text in texts]


def _header_at(sheet: Sheet, cells: pd.DataFrame, export: Export) -> int | None:
    if export.header_row:
        rows = np.flatnonzero(sheet.source_rows >= export.header_row)
        if not len(rows):
            raise ExportError(
                f"The file ends before header_row = {export.header_row}.",
                sheet.label,
                "export it again with the period filled, or correct header_row",
            )
        return int(rows[0])
    if not len(cells):
        raise ExportError("The sheet is blank.", sheet.label, "export it again, or set sheet")
    head = cells.iloc[:_LOOKED_AT].astype("object").to_numpy().tolist()
    wanted = {" ".join(s.column.split()).casefold() for s in export.columns.values()}
    return find_header(head, wanted)


def _require_columns(sheet: Sheet, names: list[str], at: int, key: str) -> None:
    if len([n for n in names if n]) >= 2:
        return
    row = int(sheet.source_rows[at])
    line = names[0] if names else ""
    other = [d for d in SIGNS if d in line and d != sheet.delimiter]
    if other:
        raise ExportError(
            f"The header row holds a single column: {line[:60]!r}.",
            f"{sheet.label}, row {row}",
            f'set delimiter = "{other[0]}" in {key}'.replace("\t", "\\t"),
        )
    raise ExportError(
        f"This is not a table: row {row} holds a single cell.",
        f"{sheet.label}, row {row}",
        f"give header_row in {key} if the header stands lower, or export it as a table",
    )


def _under(sheet: Sheet, cells: pd.DataFrame, header: list[str], at: int) -> RawTable:
    body = cells.iloc[at + 1 :].reset_index(drop=True)
    blank = (cells == "").to_numpy() if sheet.blank is None else sheet.blank
    blank = blank[at + 1 :]
    n_cells = sheet.n_cells[at + 1 :]
    if not header:
        header = [""] * cells.shape[1]
    width = _width(blank, header)
    header = header + [""] * (width - len(header))
    names = unlike_names(header)
    too_long = np.zeros(len(body), dtype=bool)
    for column in range(width, cells.shape[1]):
        too_long |= ~blank[:, column]
    body = body.iloc[:, :width].set_axis(names, axis=1)
    blank = blank[:, :width]
    for column in range(body.shape[1], width):
        body[names[column]] = ""
        blank = np.column_stack([blank, np.ones(len(body), dtype=bool)])
    above = cells.iloc[: max(at, 0)].astype("object")
    titles = [" ".join(c for c in row if c) for row in above.to_numpy().tolist()]
    fault = find_faults(body, blank, [h or "" for h in header], tuple(titles))
    if too_long.any():
        fault = fault.mask((fault == "") & too_long, TOO_LONG)
    for row, reason in sheet.faults.items():
        # what the layout knows as a page line stays one
        if row > at and fault.iloc[row - at - 1] == "":
            fault.iloc[row - at - 1] = reason
    filled: list[bool] = [bool(f) for f in np.any(~blank, axis=0)]
    keep = [n for n, h, f in zip(names, header, filled, strict=True) if h or f]
    return RawTable(
        path=sheet.path,
        cells=body[keep],
        source_row=pd.Series(sheet.source_rows[at + 1 :], dtype="int64"),
        fault=fault,
        n_short=int(((n_cells < width) & no_text(fault)).sum()),
        digest=sheet.digest,
        sheet=sheet.name,
        header_row=int(sheet.source_rows[at]) if at >= 0 else 0,
        titles=tuple(t for t in titles if t),
        is_typed=sheet.is_typed,
        encoding=sheet.encoding,
        delimiter=sheet.delimiter,
        notes=(*sheet.notes, *_page_note(fault)),
    )


def _width(blank: np.ndarray, header: list[str]) -> int:
    """Columns of the table: the header's, and unnamed ones after it that most rows fill."""
    width = len(header)
    while width < blank.shape[1] and len(blank):
        if 1.0 - blank[:, width].mean() < _UNNAMED_SHARE:
            break
        width += 1
    return width


def _page_note(fault: pd.Series) -> list[ReadNote]:
    faults = fault[~no_text(fault)]
    counts = faults[faults.isin(["page header or footer", "totals row", REPEATED])].value_counts()
    if counts.empty:
        return []
    told = ", ".join(f"{n} {reason}" for reason, n in sorted(counts.items()))
    return [ReadNote(f"Rows that are no records were set aside: {told}.")]
