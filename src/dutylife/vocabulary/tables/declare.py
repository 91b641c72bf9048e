"""What a table is, and how one is declared: a glance each."""

from dataclasses import dataclass, replace

from dutylife.vocabulary.columns import column
from dutylife.vocabulary.kinds import Column


@dataclass(frozen=True, slots=True)
class Table:
    """One table: what a row is, its key, its columns in order; ``filled`` may never be blank."""

    name: str
    a_row_is: str
    key: tuple[str, ...]
    columns: dict[str, Column]
    filled: tuple[str, ...] = ()


def bounds(names: str) -> str:
    """Names with their lower and upper bounds."""
    return " ".join(f"{n} {n}_lower {n}_upper" for n in names.split())


# part of a key, yet blank where there is only one, or where it does not apply
_MAY_BE_BLANK = {"position", "failure_mode", "ticket", "customer"}


def table(name: str, a_row_is: str, key: str, columns: str, filled: str = "") -> Table:
    """Declare a table.

    ``reason:set_aside_reason`` names a column ``reason`` that is declared under the latter.
    """
    keys = tuple(key.split())
    declared: dict[str, Column] = {}
    for word in columns.split():
        here, _, there = word.partition(":")
        declared[here] = replace(column(there or here), name=here)
    never_blank = tuple(k for k in keys if k not in _MAY_BE_BLANK) + tuple(filled.split())
    return Table(name, a_row_is, keys, declared, never_blank)
