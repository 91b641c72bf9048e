"""Nested records to sheets: one a level, each row with the fields of the records around it."""

from typing import Any

from dutylife.intake.readers.sheet import Sheet, Source, sheet_of
from dutylife.intake.readers.workbook import cell_text

Record = dict[str, Any]


def levels_of(
    source: Source, tables: list[tuple[str, list[Any]]], decimal: str = ""
) -> list[Sheet]:
    """Return a sheet for each list of records, and one for each list inside them, at any depth.

    A field keeps its own name; a field inside an object is called object.field. Where a record
    around it has a field of the same name, that one is called level.field, so that "number" of
    the item and "tickets.number" of its ticket stand side by side. A record whose list is empty
    keeps one row with the fields of the list blank, so that nothing is lost.

    Parameters
    ----------
    source : Source
    tables : list of (str, list)
        Name and records of each outermost list.
    decimal : str
        Decimal sign to write native numbers with.
    """
    sheets: list[Sheet] = []
    for name, records in tables:
        _add_level(sheets, source, name, [({}, r) for r in records], decimal)
    return sheets


def _add_level(
    sheets: list[Sheet],
    source: Source,
    name: str,
    pairs: list[tuple[Record, Any]],
    decimal: str,
) -> None:
    """Add the sheet of one level; each pair is the fields around a record, and the record."""
    flat: list[tuple[Record, Record]] = []
    below: dict[str, list[tuple[int, Any]]] = {}
    for number, (around, record) in enumerate(pairs):
        own: Record = {}
        lists: dict[str, list[Any]] = {}
        if isinstance(record, dict):
            _flatten("", record, own, lists, decimal)
        elif record is not None:
            own["value"] = cell_text(record, decimal)
        flat.append((around, own))
        for key, items in lists.items():
            below.setdefault(key, []).extend((number, item) for item in items)
    own_names = list(dict.fromkeys(f for _, own in flat for f in own))
    outer = list(dict.fromkeys(f for around, _ in flat for f in around))
    level = name.rpartition(".")[0] or "record"
    named = {f: (f"{level.rpartition('.')[2]}.{f}" if f in own_names else f) for f in outer}
    header = (*[named[f] for f in outer], *own_names)
    rows = [
        [*[around.get(f, "") for f in outer], *[own.get(f, "") for f in own_names]]
        for around, own in flat
    ]
    sheets.append(sheet_of(source, name, rows, header=header, is_typed=True))
    for key, items in below.items():
        kept: dict[int, list[Any]] = {number: [] for number in range(len(flat))}
        for number, item in items:
            kept[number].append(item)
        inner: list[tuple[Record, Any]] = []
        for number, (around, own) in enumerate(flat):
            fields = {named[f]: v for f, v in around.items()} | own
            inner += [(fields, item) for item in kept[number] or [None]]
        _add_level(sheets, source, f"{name}.{key}" if name else key, inner, decimal)


def _flatten(
    prefix: str, record: Record, own: Record, lists: dict[str, list[Any]], decimal: str
) -> None:
    for field, value in record.items():
        name = f"{prefix}{field}"
        if isinstance(value, dict):
            _flatten(f"{name}.", value, own, lists, decimal)
        elif isinstance(value, list) and any(isinstance(v, (dict, list)) for v in value):
            lists[name] = value
        elif isinstance(value, list):
            # a list of plain values is a text; an empty list may be a list of records elsewhere
            if value:
                own[name] = "; ".join(cell_text(v, decimal) for v in value)
        else:
            own[name] = cell_text(value, decimal)
