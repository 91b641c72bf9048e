"""Text: delimited, whole columns at a time or row by row with quotes mended; or fixed width."""

import codecs
import csv
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from dutylife.errors import SettingsError
from dutylife.intake.readers.delimiter import delimiter_of
from dutylife.intake.readers.encoding import decoded
from dutylife.intake.readers.fixed_width import fixed_width_sheet
from dutylife.intake.readers.joined_lines import joined_lines
from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import ReadNote, Sheet, Source, no_table, sheet_of
from dutylife.intake.values import from_codes
from dutylife.settings import Export

# so many lines above the header (titles, blank lines) are looked through for the table's width
_HEAD_LINES = 60


def read_text(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read one delimited text file.

    Raises
    ------
    ExportError
        It holds no text, or a quote that swallows the rest of the file.
    """
    found = decoded(source, export.encoding, key)
    text = found.text
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    # a page break stands alone on its line; the sign for "end of file" is of an older system
    text = text.rstrip("\x1a")
    if not text or text.isspace():
        raise no_table("The file holds no text.", source, "export it again")
    fixed = fixed_width_sheet(text, found, source, export, key)
    if fixed is not None:
        return [fixed]
    # a cell may be as long as the file: all work of a visit in one text
    csv.field_size_limit(max(131072, len(text) + 1))
    delimiter = export.delimiter or delimiter_of(text)
    if delimiter in '\n\r"':
        raise SettingsError(
            "A line break or a quote can't be the delimiter.", f"{key}.delimiter", 'e.g. ";"'
        )
    given: dict[str, Any] = {"encoding": found.encoding, "delimiter": delimiter}
    as_read = text is found.text and found.encoding == "utf-8" and not found.notes
    if as_read and not source.data.startswith(codecs.BOM_UTF8):
        data = source.data  # the file once more in memory is spared
    else:
        data = text.encode("utf-8", errors="surrogatepass")
    whole = _whole_columns(text, data, delimiter)
    if whole is not None:
        cells, blank = whole
        rows = np.arange(1, len(cells) + 1)
        n_cells = np.full(len(cells), cells.shape[1])
        return [
            Sheet(
                source.path, "", cells, n_cells, rows, is_trimmed=True, blank=blank,
                notes=found.notes, **given,
            )
        ]  # fmt: skip
    numbered = list(_rows(text, delimiter, source))
    numbered, n_joined = joined_lines(numbered)
    notes = found.notes
    if n_joined:
        note = ReadNote(
            f"{n_joined} rows were broken by a line break inside a cell and were put together "
            "again.",
            "put cells with line breaks between quotes when exporting",
        )
        notes = (*notes, note)
    rows = np.array([n for n, _ in numbered], dtype="int64")
    records = [record for _, record in numbered]
    return [sheet_of(source, "", records, source_rows=rows, notes=notes, **given)]


# blanks that trimming would change; the regular expressions of arrow know few of them by name
_UNTIDY = (
    r"^\s|\s$|\s\s|[\t\v\f\x1c-\x1f\x{85}\x{a0}\x{1680}\x{2000}-\x{200a}\x{2028}\x{2029}"
    r"\x{202f}\x{205f}\x{3000}]"
)


def _whole_columns(
    text: str, data: bytes, delimiter: str
) -> tuple[pd.DataFrame, np.ndarray] | None:
    """Coded cells of a file whose every line is one row of the same width, and which are blank.

    None where a line is not; the slower way reads such a file. ``data`` is the text in UTF-8.
    """
    import pyarrow as pa  # slow to import
    import pyarrow.compute as pc
    import pyarrow.csv as pacsv

    head = text[: 1 << 20].split("\n")[:_HEAD_LINES]
    widths = {len(r) for r in csv.reader(head[: len(head) - 1] or head, delimiter=delimiter) if r}
    width = max(widths, default=1)
    if width < 2:
        return None
    n_lines = np.count_nonzero(np.frombuffer(data, dtype="uint8") == 10)
    n_lines += not text.endswith("\n")
    names = [str(i) for i in range(width)]
    kind = pa.dictionary(pa.int32(), pa.string())
    try:
        table = pacsv.read_csv(
            pa.BufferReader(data),
            read_options=pacsv.ReadOptions(column_names=names, block_size=1 << 22),
            parse_options=pacsv.ParseOptions(delimiter=delimiter, ignore_empty_lines=False),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(names, kind), strings_can_be_null=False, check_utf8=False
            ),
        )
        table = table.unify_dictionaries()
    except pa.ArrowInvalid:  # rows of unlike width: the other way reads them
        return None
    if table.num_rows != n_lines:  # a cell over several lines, or a quote that swallowed some
        return None
    columns = {}
    blank = np.zeros((table.num_rows, width), dtype=bool)
    for number, column in enumerate(table.columns):
        chunks = column.chunks
        codes = np.concatenate([c.indices.to_numpy(zero_copy_only=False) for c in chunks])
        unlike = chunks[0].dictionary
        trimmed = unlike.to_numpy(zero_copy_only=False)
        untidy = np.flatnonzero(pc.match_substring_regex(unlike, _UNTIDY).to_numpy(False))
        if len(untidy):
            trimmed = trimmed.copy()
            trimmed[untidy] = [" ".join(u.split()) for u in trimmed[untidy]]
        columns[number] = from_codes(codes, trimmed)
        blank[:, number] = columns[number] == ""
    cells = pd.DataFrame(columns, copy=False)
    del table, column, chunks, unlike
    pa.default_memory_pool().release_unused()
    return cells, blank


def _rows(text: str, delimiter: str, source: Source) -> Iterator[tuple[int, list[str]]]:
    lines = text.split("\n")
    if lines[-1] == "":
        lines.pop()
    width = _usual_width(lines, delimiter)
    start = 1
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=delimiter)
    try:
        for record in reader:
            end = reader.line_num
            spread = lines[start - 1 : end]
            yield from _untangled(start, record, spread, width, delimiter, source, len(lines))
            start = end + 1
    except csv.Error as error:
        raise no_table(
            f"The file can't be read as a table: {error}.", source,
            "correct the quotes in that row, or export it again", start,
        ) from error  # fmt: skip


def _usual_width(lines: list[str], delimiter: str) -> int:
    counts = np.array([line.count(delimiter) for line in lines if delimiter in line])
    return int(np.bincount(counts).argmax()) + 1 if len(counts) else 1


def _untangled(
    start: int,
    record: list[str],
    spread: list[str],
    width: int,
    delimiter: str,
    source: Source,
    n_lines: int,
) -> Iterator[tuple[int, list[str]]]:
    """A record over several lines is taken apart when its lines are whole rows.

    Then the quote that joined them was a plain sign, e.g. an inch mark.
    """
    if len(spread) == 1:
        yield start, record
        return
    plain = [_plain_cells(line, delimiter) for line in spread]
    n_whole = sum(len(p) == width for p in plain)
    if width > 1 and n_whole == len(plain):
        yield from enumerate(plain, start)
        return
    text = "".join(f"{line}\n" for line in spread)
    is_last = start + len(spread) - 1 == n_lines
    if is_last and text.count('"') % 2:
        raise no_table(
            f"A quote opened in row {start} is never closed; {len(spread)} rows hang on it.",
            source, "close or remove the quote in that row", start,
        )  # fmt: skip
    yield start, record


_WHOLE_QUOTE = re.compile(r'"((?:[^"]|"")*)"')


def _plain_cells(line: str, delimiter: str) -> list[str]:
    """Cells of a line whose quotes are plain signs, save a pair around a whole cell."""
    cells = []
    for cell in line.split(delimiter):
        quoted = _WHOLE_QUOTE.fullmatch(cell.strip())
        cells.append(quoted[1].replace('""', '"') if quoted else cell.strip('"'))
    return cells


READER = Reader(
    name="text",
    endings=(".csv", ".tsv", ".txt", ".tab", ".asc", ".dat", ".psv", ".prn", ".lst", ".rpt"),
    read=read_text,
    is_mine=lambda _: False,
)
