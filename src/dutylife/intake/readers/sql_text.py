"""Dumps of a database as SQL text: the rows of INSERT and COPY statements; no statement is run."""

import re
from collections.abc import Iterator

import numpy as np

from dutylife.intake.readers.encoding import decoded
from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import Sheet, Source, no_table, sheet_of
from dutylife.settings import Export

_SPACE = re.compile(r"(?:\s+|--[^\n]*|#[^\n]*|/\*.*?\*/;?)+", re.DOTALL)
_NAME = r'(?:[`"\[]?[\w$ ]+[`"\]]?\.)?([`"\[](?:[^`"\]]+)[`"\]]|[\w$]+)'
_CREATE = re.compile(rf"CREATE\s+TABLE\s+(?:IF\s+NOT\s+EXISTS\s+)?{_NAME}\s*\(", re.IGNORECASE)
_INSERT = re.compile(
    rf"(?:INSERT|REPLACE)\s+(?:OR\s+\w+\s+|IGNORE\s+)?INTO\s+{_NAME}\s*(\([^()]*\))?\s*VALUES\s*",
    re.IGNORECASE,
)
_COPY = re.compile(rf"COPY\s+{_NAME}\s*(\([^()]*\))?\s*FROM\s+stdin[^;]*;[^\n]*\n", re.IGNORECASE)
_NO_COLUMN = re.compile(
    r"(?:PRIMARY|KEY|UNIQUE|CONSTRAINT|INDEX|FOREIGN|CHECK|FULLTEXT|EXCLUDE)\b", re.IGNORECASE
)
_BARE = re.compile(r"[^\s,()']+")
_OPEN = re.compile(r"\s*\(\s*")
_ESCAPES = {"n": "\n", "r": "\r", "t": "\t", "0": "", "b": "", "Z": ""}
_STARTS = re.compile(
    rb"\s*(?:--|/\*|#|PRAGMA|BEGIN|START|SET|CREATE|INSERT|DROP|COPY|USE|LOCK)", re.IGNORECASE
)
_HOLDS = re.compile(rb"^\s*(?:CREATE\s+TABLE|INSERT\s+INTO|COPY\s+\S+.*FROM)\b", re.I | re.M)

Row = tuple[int, list[str]]


class _Broken(Exception):
    """What is wrong, and at which character."""

    def __init__(self, what: str, at: int) -> None:
        super().__init__(what)
        self.at = at


def read_sql_text(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read the rows of a dump.

    Raises
    ------
    ExportError
        A statement breaks off or is not as dumps write it (with its row), or there are no rows.
    """
    found = decoded(source, export.encoding, key)
    text = found.text.replace("\r\n", "\n")
    columns: dict[str, list[str]] = {}
    created: set[str] = set()
    rows: dict[str, list[Row]] = {}
    try:
        for name, given, records in _statements(text):
            held = columns.setdefault(name, [])
            if given and not records:
                created.add(name)
            if (
                records
                and name not in created
                and bool(held) != bool(given)
                and (held or rows.get(name))
            ):
                raise _Broken(
                    f"some rows of '{name}' have names for their values and some have not, and no "
                    "statement tells the order of its columns", records[0][0],
                )  # fmt: skip
            held += [c for c in given if c not in held]
            # a statement without names goes by the order the table was created in
            order = given or held
            records = [(at, _in_order(order, held, r, at)) for at, r in records]
            rows.setdefault(name, []).extend(records)
    except _Broken as error:
        row = text.count("\n", 0, error.at) + 1
        raise no_table(
            f"The SQL text breaks off or is not as a dump writes it: {error}.", source,
            "export the file again, or export the tables as csv", row,
        ) from error  # fmt: skip
    sheets = []
    for name, records in rows.items():
        if not records:
            continue
        width = max(len(r) for _, r in records)
        header = columns.get(name) or [f"column {i}" for i in range(1, width + 1)]
        cells = [r + [""] * (len(header) - len(r)) for _, r in records]
        sheets.append(
            sheet_of(
                source, name, cells, header=tuple(header), is_typed=True, notes=found.notes,
                encoding=found.encoding, source_rows=_line_numbers(text, [n for n, _ in records]),
            )
        )  # fmt: skip
    if not sheets:
        raise no_table("The SQL text holds no rows.", source, "export it with its data")
    return sheets


def _line_numbers(text: str, places: list[int]) -> np.ndarray:
    breaks = np.flatnonzero(np.frombuffer(text.encode("utf-32-le", "replace"), "<u4") == 10)
    return np.searchsorted(breaks, np.array(places)) + 1


def _in_order(names: list[str], header: list[str], row: list[str], at: int) -> list[str]:
    """Values of a row under the names of its statement, in the table's order."""
    if not header:
        return row
    if len(row) != len(names):
        which = "more" if len(row) > len(names) else "fewer"
        raise _Broken(f"a row has {which} values than columns ({len(row)} for {len(names)})", at)
    mine = dict(zip(names, row, strict=True))
    return [mine.get(name, "") for name in header]


def _statements(text: str) -> Iterator[tuple[str, list[str], list[Row]]]:
    """Table, columns and rows of each statement that tells of them."""
    # a backslash escapes in dumps that quote names with a backtick
    escapes = "`" in text
    at = 0
    while at < len(text):
        if found := _SPACE.match(text, at):
            at = found.end()
        elif found := _CREATE.match(text, at):
            names, at = _column_names(text, found.end())
            yield _plain(found[1]), names, []
        elif found := _INSERT.match(text, at):
            rows, at = _tuples(text, found.end(), escapes)
            yield _plain(found[1]), _named(found[2]), rows
        elif found := _COPY.match(text, at):
            rows, at = _copied(text, found.end())
            yield _plain(found[1]), _named(found[2]), rows
        else:
            at = _end_of(text, at, escapes)


def _plain(name: str) -> str:
    return name.strip('`"[] ')


def _named(listed: str | None) -> list[str]:
    return [_plain(n) for n in listed[1:-1].split(",")] if listed else []


def _column_names(text: str, at: int) -> tuple[list[str], int]:
    names: list[str] = []
    depth, start = 0, at
    while at < len(text):
        sign = text[at]
        if sign in "'\"`":
            at = text.find(sign, at + 1)
            if at < 0:
                break
        elif sign == "(":
            depth += 1
        elif sign in ",)" and depth == 0:
            part = text[start:at].strip()
            if part and not _NO_COLUMN.match(part):
                quoted = part[0] in '`"['
                names.append(part[1 : part.find({"[": "]"}.get(part[0], part[0]), 1)] if quoted
                             else part.split()[0])  # fmt: skip
            start = at + 1
            if sign == ")":
                return names, at + 1
        elif sign == ")":
            depth -= 1
        at += 1
    raise _Broken("a table's columns have no end", start)


def _tuples(text: str, at: int, escapes: bool) -> tuple[list[Row], int]:
    rows: list[Row] = []
    while True:
        opened = _OPEN.match(text, at)
        if not opened:
            raise _Broken("values in brackets are missing", at)
        start = opened.end() - 1
        at = opened.end()
        row: list[str] = []
        while True:
            value, at = _value(text, at, escapes)
            row.append(value)
            while text[at : at + 1].isspace():
                at += 1
            sign = text[at : at + 1]
            at += 1
            if sign == ")":
                break
            if sign != ",":
                raise _Broken("a row has no end", start)
            while text[at : at + 1].isspace():
                at += 1
        rows.append((start, row))
        while text[at : at + 1].isspace():
            at += 1
        if text[at : at + 1] == ",":
            at += 1
            continue
        return rows, _end_of(text, at, escapes)


_TEXT = re.compile(r"[NE]?'((?:[^']|'')*)'")
_ESCAPED = re.compile(r"[NE]?'((?:[^'\\]|''|\\.)*)'", re.DOTALL)


def _value(text: str, at: int, escapes: bool) -> tuple[str, int]:
    with_escapes = escapes or text[at : at + 2] == "E'"
    found = (_ESCAPED if with_escapes else _TEXT).match(text, at)
    if found:
        value = found[1].replace("''", "'")
        if with_escapes:
            value = re.sub(r"\\(.)", lambda m: _ESCAPES.get(m[1], m[1]), value, flags=re.DOTALL)
        return value, found.end()
    bare = _BARE.match(text, at)
    if not bare:
        raise _Broken("a value is missing or a quote is never closed", at)
    end = bare.end()
    if text[end : end + 1] == "(":  # a call, as of a date function
        raise _Broken(f"'{bare[0]}(' is computed and no value", at)
    word = bare[0].casefold()
    return "" if word == "null" else word if word in ("true", "false") else bare[0], end


def _copied(text: str, at: int) -> tuple[list[Row], int]:
    rows: list[Row] = []
    while at < len(text):
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        line = text[at:end]
        if line == "\\.":
            return rows, end + 1
        cells = ["" if c == "\\N" else re.sub(
            r"\\(.)", lambda m: _ESCAPES.get(m[1], m[1]), c) for c in line.split("\t")]  # fmt: skip
        rows.append((at, cells))
        at = end + 1
    raise _Broken("the rows of a COPY have no end", at)


_PIECE = re.compile(r"'(?:[^']|'')*'|\"[^\"]*\"|`[^`]*`|--[^\n]*|/\*.*?\*/|[^;]", re.DOTALL)
_PIECE_ESCAPED = re.compile(
    r"'(?:[^'\\]|''|\\.)*'|\"[^\"]*\"|`[^`]*`|--[^\n]*|/\*.*?\*/|[^;]", re.DOTALL
)


def _end_of(text: str, at: int, escapes: bool) -> int:
    """One past the semicolon that ends a statement."""
    piece = _PIECE_ESCAPED if escapes else _PIECE
    while at < len(text) and text[at] != ";":
        found = piece.match(text, at)
        at = found.end() if found else at + 1
    return at + 1


def _is_sql(head: bytes) -> bool:
    start = head.removeprefix(b"\xef\xbb\xbf")
    return bool(_STARTS.match(start) and _HOLDS.search(start))


READER = Reader(name="sql_text", endings=(".sql",), read=read_sql_text, is_mine=_is_sql)
