"""JSON: an array of records, one record a line, or tickets with their items at any depth."""

import json
from typing import Any

from dutylife.intake.readers.encoding import decoded
from dutylife.intake.readers.levels import levels_of
from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import Sheet, Source, no_table
from dutylife.settings import Export

# levels of records and objects in each other; a shop's tickets have three or four
MOST_DEPTH = 40


def read_structured(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read a JSON file or JSON lines.

    Raises
    ------
    ExportError
        It is cut off or broken (with the row), or holds no records.
    """
    text = decoded(source, export.encoding, key).text.strip()
    if not text:
        raise no_table("The file holds no text.", source, "export it again")
    try:
        data = _loads(text)
    except json.JSONDecodeError as error:
        lines = [(n, line) for n, line in enumerate(text.split("\n"), 1) if line.strip()]
        if len(lines) < 2 or not _is_record(lines[0][1]):
            raise _broken(error, source, error.lineno) from error
        data = _record_lines(lines, source)
    except RecursionError as error:
        raise no_table("Records lie too deep in each other.", source, "export it flat") from error
    _require_depth(data, source)
    tables = tables_in("", data)
    if not any(isinstance(r, dict) for _, records in tables for r in records):
        raise no_table(
            "The JSON file holds no records.", source,
            "export a list of records, each with named fields",
        )  # fmt: skip
    return levels_of(source, tables, export.decimal)


def _require_depth(data: Any, source: Source) -> None:
    level = [data]
    for _ in range(MOST_DEPTH):
        level = [
            inner
            for outer in level
            if isinstance(outer, (list, dict))
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, (list, dict))
        ]
        if not level:
            return
    raise no_table("Records lie too deep in each other.", source, "export it flat")


def _loads(text: str) -> Any:
    # numbers stay as typed: 12.50 and 1E+05 are not rounded or written anew
    return json.loads(
        text, parse_float=str, parse_int=str, parse_constant=_constant, object_pairs_hook=_fields
    )


def _constant(name: str) -> str:
    return "" if name == "NaN" else name


def _fields(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Fields of a record; a name given twice is numbered, so that no value is lost."""
    out: dict[str, Any] = {}
    for name, value in pairs:
        unlike, n_same = name, 1
        while unlike in out:
            n_same += 1
            unlike = f"{name} ({n_same})"
        out[unlike] = value
    return out


def _is_record(line: str) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except json.JSONDecodeError:
        return False


def _record_lines(lines: list[tuple[int, str]], source: Source) -> list[Any]:
    out = []
    for number, line in lines:
        try:
            out.append(_loads(line))
        except json.JSONDecodeError as error:
            raise _broken(error, source, number) from error
    return out


def _broken(error: json.JSONDecodeError, source: Source, row: int) -> Exception:
    return no_table(
        f"The JSON breaks off or is not well formed: {error.msg} (sign {error.colno}).", source,
        "correct that row, or export the file again; it may have been cut off", row,
    )  # fmt: skip


def tables_in(name: str, data: Any) -> list[tuple[str, list[Any]]]:
    """Outermost lists of records; an object around them may hold several, or be one record."""
    if isinstance(data, list):
        return [(name, data)]
    if not isinstance(data, dict):
        return []
    lists = {k: v for k, v in data.items() if isinstance(v, list) and v and isinstance(v[0], dict)}
    inner = {k: v for k, v in data.items() if isinstance(v, dict)}
    found = [(f"{name}.{k}" if name else k, v) for k, v in lists.items()]
    for k, v in inner.items():
        if not lists or len(v) <= 3:
            found += [t for t in tables_in(f"{name}.{k}" if name else k, v) if len(t[1])]
    return found or ([(name, [data])] if not name else [])


def _looks_structured(head: bytes) -> bool:
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    return start[:1] in (b"{", b"[") and start[1:].lstrip()[:1] in (b'"', b"{", b"[", b"}", b"]")


READER = Reader(
    name="structured",
    endings=(".json", ".jsonl", ".ndjson"),
    read=read_structured,
    is_mine=_looks_structured,
)
