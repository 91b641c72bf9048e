"""Fixed-width text: prints and record files whose columns stand at the same places in all lines."""

import re
from typing import Any

import numpy as np

from dutylife.errors import SettingsError
from dutylife.intake.readers.delimiter import cuts_the_text, text_sample
from dutylife.intake.readers.encoding import Decoded
from dutylife.intake.readers.fixed_columns import (
    FixedColumns,
    fixed_columns,
    stated_columns,
)
from dutylife.intake.readers.fixed_labels import is_rule
from dutylife.intake.readers.sheet import ReadNote, Sheet, Source, no_table, sheet_of
from dutylife.intake.readers.wrapped_lines import plain_line, unwrapped
from dutylife.settings import Export

CROSSES = "text across the columns"
_APART = re.compile(r"\S {2,}\S")
# of a text in columns so many lines have two blanks inside
_APART_SHARE = 0.4


def fixed_width_sheet(
    text: str, found: Decoded, source: Source, export: Export, key: str
) -> Sheet | None:
    """Read a text in columns of fixed width; None where it is none.

    Parameters
    ----------
    text : str
        Line ends are line feeds.
    found : Decoded
    source, export, key
        As every reader's.

    Raises
    ------
    ExportError
        Two columns touch, so that no cut between them can be told.
    SettingsError
        ``column_starts`` are not in order.
    """
    starts = export.column_starts
    if not starts and (export.delimiter or not _may_be(text)):
        return None
    lines = [line.replace("\f", "").rstrip() for line in text.split("\n")]
    if lines[-1] == "":
        lines.pop()
    if starts:
        if starts != sorted(set(starts)):
            raise SettingsError(
                "The columns do not begin one after the other.", f"{key}.column_starts",
                "count the characters of a line from 1, for example [1, 9, 20]",
            )  # fmt: skip
        columns: FixedColumns | None = stated_columns(lines, starts)
    else:
        columns = fixed_columns(lines)
    if columns is None:
        return None
    if columns.touching:
        a, b = columns.touching
        raise no_table(
            f"No gap parts the columns '{a}' and '{b}': their cells touch.", source,
            f"state in {key} where each column begins, counting the characters of a line from 1, "
            f"for example column_starts = {_starts(columns)}", columns.header[-1] + 1,
        )  # fmt: skip
    return _sheet(lines, columns, found, source, key)


def _starts(columns: FixedColumns) -> list[int]:
    return [start + 1 for start, _ in columns.spans]


def _may_be(text: str) -> bool:
    """Most lines have two blanks inside, and no sign cuts them into cells."""
    lines = [line for line in text_sample(text) if line.strip()]
    apart = sum(bool(_APART.search(line)) for line in lines)
    return apart >= max(2, _APART_SHARE * len(lines)) and not cuts_the_text(lines)


def _sheet(
    lines: list[str], columns: FixedColumns, found: Decoded, source: Source, key: str
) -> Sheet:
    notes = list(found.notes)
    if columns.question:
        notes.append(
            ReadNote(
                f"Columns can be cut in two ways: {columns.question}.",
                f"set column_starts in {key} to where each begins; read now is {_starts(columns)}",
                columns.header[-1] + 1, "ask",
            )
        )  # fmt: skip
    rows: list[list[str]] = []
    numbers: list[int] = []
    crossing: list[int] = []
    across: list[int] = []
    # a header of several lines is one row, on each page
    head = lines[columns.header[-1]] if columns.labels else None
    rest = {lines[at] for at in columns.header[:-1]}
    # the words above the header stand on each page again
    above = {plain_line(line) for line in lines[: columns.header.start] if line.strip()}
    for at, line in enumerate(lines):
        if line in rest and not columns.data[at]:
            continue
        if line == head:
            rows.append(list(columns.labels))
        elif not columns.data[at] and (is_rule(line) or plain_line(line) in above):
            rows.append([line.strip()])
        elif columns.fits[at] or not line:
            rows.append(_cut(line, columns.spans))
        else:
            rows.append([line.strip()])
            if at >= columns.header.stop:
                (across if columns.bare[at] else crossing).append(len(rows) - 1)
        numbers.append(at + 1)
    fits = np.array([columns.fits[n - 1] for n in numbers])
    data = np.array([columns.data[n - 1] for n in numbers])
    # a rule or a line of the page may keep to the columns by chance: it is one cell all the same
    is_cut = np.array([len(row) == len(columns.spans) for row in rows], dtype=bool)
    is_body = np.array([lines[n - 1] != head for n in numbers]) & fits & is_cut
    rows, kept, n_joined, question = unwrapped(rows, is_body, data)
    crossing, across = (
        np.searchsorted(kept, np.array(places, dtype="int64")).tolist()
        for places in (crossing, across)
    )
    if n_joined:
        notes.append(
            ReadNote(f"{n_joined} lines went on with a text of the line above and were put to it.")
        )
    if question:
        notes.append(ReadNote(question, "look at these texts", 0, "ask"))
    if crossing:
        first = numbers[int(kept[crossing[0]])]
        notes.append(
            ReadNote(
                f"{len(crossing)} lines do not keep to the columns (first in row {first}) and were "
                "set aside.",
                f"correct them, or set column_starts in {key} if the columns are other ones",
                first, "ask",
            )
        )  # fmt: skip
    given: dict[str, Any] = {
        "encoding": found.encoding, "notes": tuple(notes),
        "source_rows": np.array(numbers, dtype="int64")[kept],
        "faults": dict.fromkeys([*crossing, *across], CROSSES),
    }  # fmt: skip
    return sheet_of(source, "", rows, **given)


def _cut(line: str, spans: tuple[tuple[int, int], ...]) -> list[str]:
    """Cells as the line has them, blanks on the left kept for texts that go on.

    In a gap, what touches the column on the right is its own; the rest is of the one on the left.
    """
    line = line.ljust(spans[-1][0])
    cells: list[str] = []
    begin = spans[0][0]
    for (_, end), (start, _) in zip(spans, spans[1:], strict=False):
        after = start
        while after > end and not line[after - 1].isspace():
            after -= 1
        cells.append(line[begin:after])
        begin = after
    return [*cells, line[begin:]]
