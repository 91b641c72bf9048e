"""What a reader is given and what it gives: a source of bytes, and sheets of text cells."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.errors import ExportError


@dataclass(frozen=True, slots=True)
class Source:
    """Bytes of one file, or of one member of an archive.

    Parameters
    ----------
    path : Path
        The file; for a member of an archive the archive's path and the member's name.
    name : str
        As messages call it.
    data : bytes
    """

    path: Path
    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class ReadNote:
    """Something seen while reading that a person should know; ``kind`` as in findings."""

    message: str
    mend: str = ""
    row: int = 0
    kind: str = "note"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table of a file as text cells, before anything is known of its header.

    Parameters
    ----------
    path : Path
        The file it stands in.
    name : str
        Sheet, table or level; blank where a file is one table.
    cells : DataFrame
        Text, coded (type category) where the reader has it so; columns numbered from 0, short
        rows filled with "".
    n_cells : ndarray of int, shape (rows,)
        Cells each row has in the file.
    source_rows : ndarray of int, shape (rows,)
        Row of each as a person counts it in the file.
    header : tuple of str
        Names of the columns where the file itself declares them (databases, JSON); else empty.
    is_typed : bool
        The file tells numbers and dates from text; dates are ISO, numbers have a decimal point.
    is_trimmed : bool
        Cells have no outer and no double blanks.
    blank : ndarray of bool, shape of cells, optional
        Which cells are blank, where the reader knows it already.
    """

    path: Path
    name: str
    cells: pd.DataFrame
    n_cells: np.ndarray
    source_rows: np.ndarray
    header: tuple[str, ...] = ()
    is_typed: bool = False
    is_trimmed: bool = False
    blank: np.ndarray | None = None
    encoding: str = ""
    delimiter: str = ""
    digest: str = ""
    notes: tuple[ReadNote, ...] = ()
    faults: dict[int, str] = field(default_factory=dict)

    @property
    def rows(self) -> list[list[str]]:
        """Every row as a list of its cells."""
        return [
            row[:n]
            for row, n in zip(self.cells.to_numpy().tolist(), self.n_cells.tolist(), strict=True)
        ]

    @property
    def label(self) -> str:
        """How messages call it: file, and sheet where there is one."""
        return f"{self.path.name} ({self.name})" if self.name else self.path.name


def sheet_of(source: Source, name: str, rows: list[list[str]], **fields: object) -> Sheet:
    """Build a sheet from rows of unlike length.

    Parameters
    ----------
    source : Source
    name : str
    rows : list of list of str
    fields
        Further fields of `Sheet`; ``source_rows`` counts from 1 where it is not given.
    """
    n_cells = np.fromiter((len(r) for r in rows), dtype="int64", count=len(rows))
    width = int(n_cells.max()) if len(rows) else 0
    header = fields.get("header")
    if isinstance(header, tuple):
        width = max(width, len(header))
    if len(rows) and int(n_cells.min()) < width:
        rows = [r + [""] * (width - len(r)) if len(r) < width else r for r in rows]
    cells = pd.DataFrame(rows, columns=range(width), dtype="object")
    known = {"source_rows": np.arange(1, len(rows) + 1), **fields}
    return Sheet(path=source.path, name=name, cells=cells, n_cells=n_cells, **known)  # type: ignore[arg-type]


def no_table(what: str, source: Source, mend: str, row: int = 0) -> ExportError:
    """Return the error for a file that can't be read as a table."""
    return ExportError(what, f"{source.name}, row {row}" if row else source.name, mend)
