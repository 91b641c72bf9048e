"""Tables of the same columns under any names: looked at as one, written as one export each."""

from dataclasses import replace

from dutylife.draft.settling import DraftedExport
from dutylife.draft.sheets import Table, stacked

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
    return [_with_twins(mine) if len(mine) > 1 else mine[0] for mine in groups.values()]


def _with_twins(mine: list[Table]) -> Table:
    # of the others only the names are needed, not their cells once more
    others = tuple(replace(t, raw=mine[0].raw) for t in mine[1:])
    return replace(stacked(mine), twins=others)


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
