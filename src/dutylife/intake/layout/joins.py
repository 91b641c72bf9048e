"""A header table and its lines, in two or three tables, joined on the keys they share."""

from dataclasses import replace

import numpy as np
import pandas as pd

from dutylife.errors import ColumnMissingError, ExportError
from dutylife.intake.layout.table import RawTable
from dutylife.intake.names import name_key
from dutylife.intake.readers.sheet import ReadNote
from dutylife.settings import Join
from dutylife.wording import count


def joined(left: RawTable, right: RawTable, join: Join, date_column: str, key: str) -> RawTable:
    """Rows of ``left`` with the columns of the ``right`` row that has the same keys.

    Where the right table holds the date of the job, a right row without left rows is a ticket
    without lines and is kept as a row of its own; else it is counted only.

    Parameters
    ----------
    left, right : RawTable
    join : Join
        Key columns of both.
    date_column : str
        The mapped column of the job's date, blank where none is mapped.
    key : str
        The settings key, for messages.

    Raises
    ------
    ColumnMissingError
        A table lacks a key column.
    ExportError
        The tables have no key in common, or the right one has two unlike rows of one key.
    """
    left, right = left.as_text(), right.as_text()
    theirs = _columns_of(right, [r for _, r in join.keys], f"{key}.right")
    ours = _columns_of(left, [n for n, _ in join.keys], f"{key}.left")
    left_key, right_key = _keys(left.cells, ours), _keys(right.cells, theirs)
    usable = (right.fault == "") & (right_key != "")
    if not left_key.isin(set(right_key[usable])).any():
        raise ExportError(
            f"Not one {', '.join(ours)} of {left.label} is a {', '.join(theirs)} of {right.label}.",
            key,
            "name other columns as left and right; their first values are "
            f"{_some(left_key)} and {_some(right_key)}",
        )
    first = _one_row_a_key(right, right_key, usable, theirs)
    at = left_key.map(first)
    found = at.notna().to_numpy()
    named = _names_beside(left, right, theirs, ours)
    cells = left.cells.copy()
    take = at.fillna(0).astype("int64").to_numpy()
    for column, name in named.items():
        values = right.cells[column].to_numpy()
        cells[name] = np.where(found, values[take], "")
    notes = [
        *left.notes,
        *right.notes,
        *_missing_note(left, right, ours, found | (left_key == "").to_numpy()),
    ]
    alone = usable & ~right_key.isin(set(left_key)) & right_key.index.isin(first.to_numpy())
    out = replace(left, cells=cells, notes=tuple(notes))
    if not alone.any():
        return out
    has_date = date_column.casefold() in {str(c).casefold() for c in right.cells.columns}
    note = ReadNote(
        f"{count(int(alone.sum()), 'row')} of {right.label} {'has' if alone.sum() == 1 else 'have'}"
        f" no rows in {left.label}"
        + ("; kept as tickets without lines." if has_date and date_column else ".")
    )
    out = replace(out, notes=(*out.notes, note))
    return _with_alone(out, right, alone, named, join.keys) if has_date and date_column else out


def _columns_of(raw: RawTable, wanted: list[str], key: str) -> list[str]:
    folded = {str(c).casefold(): str(c) for c in raw.cells.columns}
    missing = [w for w in wanted if w.casefold() not in folded]
    if missing:
        raise ColumnMissingError(
            f"Key columns are not in the table: {', '.join(missing)}.",
            f"{raw.label} ({key})",
            "the table has: " + ", ".join(map(str, raw.cells.columns)),
        )
    return [folded[w.casefold()] for w in wanted]


def _keys(cells: pd.DataFrame, columns: list[str]) -> pd.Series:
    """Keys as one text; blank where a part of it is blank. 1042 and 1042.0 are one key."""
    parts = [name_key(cells[c]).str.replace(r"^(\d+)\.0+$", r"\1", regex=True) for c in columns]
    text = parts[0]
    for part in parts[1:]:
        text = text + "\x1f" + part
    blank = np.logical_or.reduce([(p == "").to_numpy() for p in parts])
    return text.mask(blank, "")


def _one_row_a_key(
    right: RawTable, keys: pd.Series, usable: pd.Series, columns: list[str]
) -> pd.Series:
    rows = keys[usable]
    again = rows[rows.duplicated(keep=False)]
    if len(again):
        content = right.cells.loc[again.index]
        unlike = content[~content.duplicated()].groupby(again.loc[~content.duplicated()]).size()
        unlike = unlike[unlike > 1]
        if len(unlike):
            one = again[again == unlike.index[0]].index
            shown = ", ".join(str(right.source_row.loc[i]) for i in one[:5])
            raise ExportError(
                f"{count(len(unlike), 'key')} of {', '.join(columns)} "
                f"{'has' if len(unlike) == 1 else 'have'} several unlike rows.",
                f"{right.label}, rows {shown}",
                "join the table of tickets to the table of lines, not the other way round; or "
                "keep one row for each key",
            )
    rows = rows[~rows.duplicated()]
    return pd.Series(rows.index.to_numpy(), index=rows.to_numpy())


def _names_beside(
    left: RawTable, right: RawTable, keys: list[str], ours: list[str]
) -> dict[str, str]:
    """Names of the right columns beside the left ones; those of both are called table.column."""
    have = {str(c).casefold() for c in left.cells.columns}
    label = right.sheet or right.path.stem
    named = {}
    same_key = {r for r, o in zip(keys, ours, strict=True) if r.casefold() == o.casefold()}
    for column in map(str, right.cells.columns):
        if column in same_key:
            continue
        named[column] = f"{label}.{column}" if column.casefold() in have else column
    return named


def _missing_note(
    left: RawTable, right: RawTable, ours: list[str], found: np.ndarray
) -> list[ReadNote]:
    lost = ~found & (left.fault == "").to_numpy()
    if not lost.any():
        return []
    row = int(left.source_row[lost].iloc[0])
    return [
        ReadNote(
            f"{int(lost.sum())} of {len(lost)} rows of {left.label} have a {', '.join(ours)} that "
            f"is not in {right.label} (first in row {row}); its columns are blank there.",
            f"export {right.label} for the whole period",
            row,
            "ask",
        )
    ]


def _with_alone(
    out: RawTable, right: RawTable, alone: pd.Series, named: dict[str, str],
    keys: list[tuple[str, str]],
) -> RawTable:  # fmt: skip
    rows = right.cells[alone]
    more = pd.DataFrame("", index=rows.index, columns=out.cells.columns, dtype="object")
    for column, name in named.items():
        more[name] = rows[column]
    for ours, theirs in keys:
        mine = next(c for c in out.cells.columns if str(c).casefold() == ours.casefold())
        same = next(c for c in rows.columns if str(c).casefold() == theirs.casefold())
        more[mine] = rows[same]
    return replace(
        out,
        cells=pd.concat([out.cells, more], ignore_index=True),
        source_row=pd.concat([out.source_row, right.source_row[alone]], ignore_index=True),
        fault=pd.concat([out.fault, right.fault[alone]], ignore_index=True),
    )


def _some(keys: pd.Series) -> str:
    return ", ".join(repr(k) for k in keys[keys != ""].drop_duplicates().head(3)) or "all blank"
