"""Tables of the same columns under any names: looked at as one, written as one export each."""

from dataclasses import replace

import pandas as pd

from dutylife.draft.settling import DraftedExport
from dutylife.draft.sheets import Table

FEWEST_COLUMNS = 5  # fewer may be alike by chance
# lists in one document are levels of its tickets, not files side by side
_LEVELS = (".json", ".jsonl", ".ndjson")


def as_one(tables: list[Table]) -> list[Table]:
    """Tables of the same columns put together, in the place of the first of them.

    A file for each customer or a sheet for each month is small; what its columns are is told by
    all of them. The others stand in ``twins`` of the one.
    """
    groups: dict[tuple[str, ...], list[Table]] = {}
    for table in tables:
        columns = sorted(map(str, table.raw.cells.columns))
        alone = len(columns) < FEWEST_COLUMNS or table.path.lower().endswith(_LEVELS)
        key = (str(id(table)),) if alone else tuple(columns)
        groups.setdefault(key, []).append(table)
    return [_stacked(mine) if len(mine) > 1 else mine[0] for mine in groups.values()]


def _stacked(mine: list[Table]) -> Table:
    first = mine[0]
    columns = list(first.raw.cells.columns)
    raw = replace(
        first.raw,
        cells=pd.concat([t.raw.cells[columns] for t in mine], ignore_index=True),
        source_row=pd.concat([t.raw.source_row for t in mine], ignore_index=True),
        fault=pd.concat([t.raw.fault for t in mine], ignore_index=True),
        is_typed=all(t.raw.is_typed for t in mine),
    )
    # of the others only the names are needed, not their cells once more
    return replace(first, raw=raw, fill_down=any(t.fill_down for t in mine), twins=tuple(
        replace(t, raw=first.raw) for t in mine[1:]))  # fmt: skip


def each_one(drafted: list[DraftedExport]) -> list[DraftedExport]:
    """Exports with one more for each twin of their table: the same keys, another place."""
    out: list[DraftedExport] = []
    for one in drafted:
        out.append(one)
        for twin in one.table.twins:
            place = {"path": twin.path, "sheet": twin.sheet, "member": twin.member}
            table = replace(
                one.table, path=twin.path, sheet=twin.sheet, member=twin.member, twins=()
            )
            export = one.export.model_copy(update=place)
            out.append(replace(one, export=export, table=table, questions=()))
    return out
