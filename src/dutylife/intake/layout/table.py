"""A table laid out: header found, titles, totals and page lines told from rows."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.intake.readers.sheet import ReadNote
from dutylife.intake.values import no_text


@dataclass(frozen=True, slots=True)
class RawTable:
    """A sheet as text cells under its own header.

    Parameters
    ----------
    cells : DataFrame
        One column a header cell, all text: coded (type category, `dutylife.intake.values.coded`)
        where the file was read by columns, and no cell changed since. Blank headers are called
        ``column N``; a name that stands twice becomes ``name (1)`` and ``name (2)``.
    source_row : Series of int
        Row of each record as a person counts it in the file, header included.
    fault : Series of str
        Why the row can't be used; blank when it can.
    n_short : int
        Rows with fewer cells than the header; the missing ones are read as blank.
    header_row : int
        Row of the header; 0 where the file declares its columns or has no header.
    titles : tuple of str
        Text of the lines above the header.
    has_header : bool
        False where the first row already is data and columns are called ``column N``.
    fills_down : tuple of str
        Columns that stand on the first row of each ticket only and are blank below it.
    notes : tuple of ReadNote
        What a person should know of how the file was read.
    """

    path: Path
    cells: pd.DataFrame
    source_row: pd.Series
    fault: pd.Series
    n_short: int
    digest: str
    sheet: str = ""
    header_row: int = 1
    titles: tuple[str, ...] = ()
    has_header: bool = True
    fills_down: tuple[str, ...] = ()
    is_typed: bool = False
    encoding: str = ""
    delimiter: str = ""
    notes: tuple[ReadNote, ...] = ()

    @property
    def label(self) -> str:
        """How messages call it: file, and sheet where there is one."""
        return f"{self.path.name} ({self.sheet})" if self.sheet else self.path.name

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Rows without a fault."""
        return no_text(self.fault)

    def as_text(self) -> "RawTable":
        """Return the table with cells of type object, which can be changed one by one."""
        return replace(self, cells=self.cells.astype("object"))

    @property
    def n_totals(self) -> int:
        """Totals rows inside the data."""
        return int((self.fault == "totals row").sum())

    @property
    def n_page_rows(self) -> int:
        """Page headers, footers and repeated headers inside the data."""
        return int(self.fault.isin(["page header or footer", "header repeated"]).sum())
