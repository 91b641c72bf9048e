"""Every source row accounted for: used in a table, or set aside with a reason."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dutylife.errors import RunError
from dutylife.intake.columns import Mapped
from dutylife.intake.findings import finding, first_few
from dutylife.intake.history import History
from dutylife.intake.history.accounts import NETTED
from dutylife.intake.values import no_text
from dutylife.intake.values.damage import find_damage
from dutylife.schema import as_table

# reasons that need nobody: the row is fine, or holds nothing
_NEEDS_NOBODY = (
    "blank row", "header repeated", "totals row", "row repeated", "read already from another file",
    "after the as-of date", "page header or footer", "replaced by a later export", *NETTED,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SourceFile:
    """An export file: how it is called in tables, what it holds, its digest and its rows.

    ``n_rows`` are those of the file as laid out (a visit of three parts in one row has three),
    ``n_used`` those behind the tables, ``n_set_aside`` those with a reason.
    """

    name: str
    kind: str
    n_rows: int
    digest: str
    n_used: int
    n_set_aside: int


@dataclass(frozen=True, slots=True)
class Intake:
    """What the exports hold.

    Parameters
    ----------
    tables : dict of DataFrame
        service_lines, set_aside, findings, units, unit_spans, shelf, kits, aliases, contracts;
        readings where a file of that kind is given.
    files : tuple of SourceFile
        In the order of the settings.
    as_of : date
        Last day the run knows of.
    """

    tables: dict[str, pd.DataFrame]
    files: tuple[SourceFile, ...]
    as_of: dt.date


def account(intake: Intake) -> pd.DataFrame:
    """Rows in, used and set aside of each file.

    Returns
    -------
    DataFrame
        file, kind, n_rows, n_used, n_set_aside.

    Raises
    ------
    RunError
        The rows of a file do not add up: a fault of this program.
    """
    aside = _n_rows(intake.tables["set_aside"])
    lines = _n_rows(intake.tables["service_lines"])
    rows = [
        {
            "file": f.name,
            "kind": f.kind,
            "n_rows": f.n_rows,
            "n_used": f.n_used,
            "n_set_aside": f.n_set_aside,
        }
        for f in intake.files
    ]
    table = pd.DataFrame(rows, columns=["file", "kind", "n_rows", "n_used", "n_set_aside"])
    # of a row of several parts one may be used and another not: a row counts in both tables then
    unlike = [
        aside.get(f.name, 0) > f.n_set_aside
        or (f.n_set_aside > 0) != (f.name in aside)
        or (f.kind == "lines" and (lines.get(f.name, 0) > f.n_used
                                   or (f.n_used > 0) != (f.name in lines)))
        for f in intake.files
    ]  # fmt: skip
    uneven = table["n_rows"] != table["n_used"] + table["n_set_aside"]
    lost = table[uneven | pd.Series(unlike, index=table.index, dtype=bool)]
    if len(lost):
        raise RunError(
            f"{len(lost)} files do not add up: rows in are not rows used plus rows set aside.",
            ", ".join(lost["file"]),
            "this is a fault of the program, not of the files; please report it with the file",
        )
    return table


def _n_rows(table: pd.DataFrame) -> dict[str, int]:
    """Source rows of each file that stand in a table."""
    rows = table[["source_file", "source_row"]].drop_duplicates()
    counts = rows["source_file"].astype("object").value_counts()
    return {str(name): int(n) for name, n in counts.items()}


def set_taken_aside(files: list[Mapped], history: History) -> None:
    """Set aside the rows of lines taken out of use, save those of which a line is left."""
    for file in files:
        taken = history.taken[history.taken["source_file"] == file.name]
        if taken.empty:
            continue
        left = history.lines.loc[history.lines["source_file"] == file.name, "record"]
        taken = taken.drop_duplicates("record")
        taken = taken[~taken["record"].isin(left)]
        file.reason.loc[taken["record"]] = taken["reason"].to_numpy()


def set_aside_table(files: list[Mapped]) -> pd.DataFrame:
    """Table set_aside of all files."""
    frames = []
    for file in files:
        rows = file.reason != ""
        cells = file.raw.cells[rows].astype("object")
        detail = cells.apply(lambda r: " | ".join(c for c in r if c)[:200], axis=1)
        frames.append(
            pd.DataFrame(
                {
                    "source_file": file.name,
                    "source_row": file.raw.source_row[rows],
                    "reason": file.reason[rows],
                    "detail": detail if len(cells) else "",
                    "needs_person": ~file.reason[rows].isin(_NEEDS_NOBODY),
                }
            )
        )
    every = pd.concat(frames, ignore_index=True)
    # two parts of one row may be set aside for the same reason
    return as_table("set_aside", every.drop_duplicates(["source_file", "source_row", "reason"]))


def findings_of(file: Mapped) -> list[dict[str, Any]]:
    """One finding for each reason that needs a person, and for rows shorter than the header."""
    notes = []
    for reason, rows in file.raw.source_row.groupby(file.reason):
        if reason == "" or reason in _NEEDS_NOBODY:
            continue
        notes.append(
            finding(
                "intake", "fault",
                f"{file.name}: {len(rows)} of {len(file.reason)} rows set aside, {reason} "
                f"(rows {first_few(rows)}).",
                mend="correct these rows in the export; they are listed in set_aside",
                table="set_aside", key=str(reason), source_file=file.name,
                source_row=int(rows.iloc[0]),
            )
        )  # fmt: skip
    if file.raw.n_short:
        notes.append(
            finding(
                "intake", "note",
                f"{file.name}: {file.raw.n_short} rows have fewer cells than the header; the "
                "missing ones were read as blank.",
                table="set_aside", key="short rows", source_file=file.name,
            )
        )  # fmt: skip
    for note in file.raw.notes:
        notes.append(
            finding(
                "intake", note.kind, f"{file.name}: {note.message}", mend=note.mend,
                table="set_aside", key="reading", source_file=file.name, source_row=note.row,
            )
        )  # fmt: skip
    return notes


def damaged_cells(file: Mapped) -> list[dict[str, Any]]:
    """One finding for each column whose numbers an earlier export damaged."""
    cells = file.raw.cells[file.raw.usable]
    return [
        finding(
            "intake", "note", f"{file.name}: {d.message}.",
            mend="export the column again with plain numbers, or leave it out of sums",
            table="service_lines", key=d.column, source_file=file.name,
            source_row=int(file.raw.source_row.loc[d.first_row]),
        )
        for d in find_damage(cells, file.export)
    ]  # fmt: skip


def blank_as_missing(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines whose blank texts are missing, column by column: all at once is twice the memory."""
    out = lines.copy(deep=False)
    for column in out.columns[out.dtypes == "object"]:
        blank = no_text(out[column])
        if blank.any():
            out[column] = out[column].mask(blank)
    return out
