"""Tables that belong together by a key: lines with their tickets, machines and customers."""

from dataclasses import dataclass, replace

import pandas as pd

from dutylife.draft.names import name_score, tokens
from dutylife.draft.sheets import Table
from dutylife.draft.wide import unnamed_groups
from dutylife.errors import DutylifeError
from dutylife.intake.layout import RawTable
from dutylife.intake.layout.joins import joined
from dutylife.intake.names import name_key
from dutylife.settings import Join

_INSIDE = 0.97
_MOST_JOINS = 4


@dataclass(frozen=True, slots=True)
class Joined:
    """A table with the tables that were joined to it.

    Parameters
    ----------
    table : Table
        ``raw`` holds the columns of all.
    joins : tuple of Join
    used : tuple of Table
        The tables joined.
    surrogates : frozenset of str
        Key columns that only point to a better name in a joined table.
    """

    table: Table
    joins: tuple[Join, ...] = ()
    used: tuple[Table, ...] = ()
    surrogates: frozenset[str] = frozenset()


def keys_of(cells: pd.DataFrame) -> dict[str, pd.Series]:
    """Columns without blanks in which no cell stands twice, as folded keys."""
    out = {}
    for header in map(str, cells.columns):
        column = cells[header].astype("object")
        if len(column) < 2 or (column == "").mean() > 0.02:
            continue
        keys = folded_key(column[column != ""])
        if keys.is_unique and column.str.len().mean() < 40:
            out[header] = keys
    return out


def folded_key(column: pd.Series) -> pd.Series:
    """Cells as keys: 1042 and 1042.0 are one."""
    return name_key(column.astype("object")).str.replace(r"^(\d+)\.0+$", r"\1", regex=True)


def join_all(left: Table, others: list[Table], date_column: str = "") -> Joined:
    """The table joined to each other table one of its columns points to, and on from there.

    Parameters
    ----------
    left : Table
        Of lines.
    others : list of Table
        Tables that may be joined; each at most once.
    """
    at = Joined(left)
    open_ = list(others)
    while open_ and len(at.joins) < _MOST_JOINS:
        found = _best(at.table.records, open_)
        if found is None:
            return at
        right, ours, theirs = found
        open_ = [t for t in open_ if t is not right]  # tables have no plain equality
        join = _join(left, right, ours, theirs)
        try:
            raw: RawTable = joined(at.table.raw, right.raw, join, date_column, "draft")
        except DutylifeError:  # the tables do not fit after all: they stay apart
            continue
        gone = set(at.surrogates)
        if _has_better(right, theirs):
            gone |= {ours, theirs, f"{right.sheet or right.raw.path.stem}.{theirs}"}
        at = Joined(
            replace(at.table, raw=raw), (*at.joins, join), (*at.used, right), frozenset(gone)
        )
    return at


def _join(left: Table, right: Table, ours: str, theirs: str) -> Join:
    same_file = right.source == left.source
    return Join(
        path="" if same_file else right.path,
        sheet=right.sheet,
        member=right.member if same_file else "",
        fill_down=right.fill_down,
        left=ours,
        right=theirs,
    )


def _best(records: pd.DataFrame, others: list[Table]) -> tuple[Table, str, str] | None:
    best: tuple[float, Table, str, str] | None = None
    # parts side by side point to the parts list each in its own row: that is no key of the visit
    slots = set(unnamed_groups([str(h) for h in records.columns]))
    columns = {
        str(h): folded_key(records[h][records[h] != ""])
        for h in records.columns
        if str(h) not in slots
    }
    for right in others:
        for theirs, keys in keys_of(right.records).items():
            have = set(keys)
            for ours, cells in columns.items():
                score = _link(ours, theirs, cells, have, right)
                if score and (best is None or score > best[0]):
                    best = (score, right, ours, theirs)
    return None if best is None else best[1:]


def _link(ours: str, theirs: str, cells: pd.Series, have: set[str], right: Table) -> float:
    """How surely one column points to the key of another table; 0 where it does not."""
    if len(cells) < 2:
        return 0.0
    unlike = set(cells.unique())
    inside = len(unlike & have) / len(unlike)
    if inside < _INSIDE or len(unlike) < 2:
        return 0.0
    name = _alike(ours, theirs, right)
    # small whole numbers are in any list of numbers: the names have to say it
    plain = all(k.isdigit() for k in list(unlike)[:200])
    if name < (0.5 if plain else 0.25):
        return 0.0
    covered = len(unlike & have) / len(have)
    return name + 0.3 * inside + 0.4 * covered + (0.2 if not plain else 0.0)


def _alike(ours: str, theirs: str, right: Table) -> float:
    one, two = set(tokens(ours)), set(tokens(theirs))
    table = set(tokens(right.sheet or right.member or right.path))
    own = one - {"id", "no", "key", "fk", "ref", "code"}
    if tokens(ours) == tokens(theirs):
        return 1.0 if own else 0.4
    # machine_id points to id of machines
    if own and all(any(t.startswith(o[:5]) or o.startswith(t[:5]) for t in table) for o in own):
        return 0.9
    if own and one & two - {"id", "no", "key", "code"}:
        return 0.7
    same = max(
        min(name_score(ours, o), name_score(theirs, o))
        for o in ("ticket", "unit_id", "customer", "part_number")
    )
    return 0.8 * same


def _has_better(right: Table, key: str) -> bool:
    """The joined table has a number or name beside its key, as unlike as the key itself."""
    for other in keys_of(right.records):
        if other == key:
            continue
        if (
            max(name_score(other, o) for o in ("ticket", "unit_id", "customer", "part_number"))
            >= 0.55
        ):
            cells = right.records[other]
            surrogate = right.records[key].str.fullmatch(r"\d+").mean() > 0.95
            if surrogate and not cells.str.fullmatch(r"[\d.,/: -]+").all():
                return True
    return False
