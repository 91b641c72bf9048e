"""Which tables hold lines of work, and which other tables have to be joined to them."""

from dutylife.draft.choices import Mapping
from dutylife.draft.joins import Joined, join_all
from dutylife.draft.mapping import map_table
from dutylife.draft.names import kind_words, name_score
from dutylife.draft.profile import Profile, profiles_of
from dutylife.draft.settling import LINES_KEYS
from dutylife.draft.sheets import Table

SIDE_KINDS = ("machines", "parts", "kits", "aliases", "readings", "contracts")
_OF_THE_VISIT = (
    "service_date",
    "ticket",
    "ticket_kind",
    "complaint",
    "work_done",
    "meter_hours",
    "part_number",
    "quantity",
    "customer",
    "duty",
)


def solo_scores(table: Table, columns: dict[str, Profile]) -> dict[str, float]:
    """How much a table alone looks like each kind."""
    told = kind_words(f"{table.path} {table.sheet} {table.member}")
    own = kind_words(table.sheet or table.member or table.path)
    out = {}
    for kind in ("lines", *SIDE_KINDS):
        mapping = map_table(columns, kind)
        out[kind] = mapping.quality + 0.25 * own.get(kind, 0.0) + 0.1 * told.get(kind, 0.0)
        out[kind] *= shape_factor(kind, mapping, columns)
        if mapping.quality == 0:
            out[kind] = 0.0
    return out


def shape_factor(kind: str, mapping: Mapping, columns: dict[str, Profile]) -> float:
    """A machines file names each machine once, a parts file each part; lines repeat them."""
    key = {"machines": "unit_id", "parts": "part_number", "aliases": "alias"}.get(kind)
    have = {c.ours for c in mapping.choices if c.is_sure}
    if key:
        header = mapping.header(key)
        # a column that has the very name of the key is it, though another one is unlike in each row
        named = [h for h in columns if name_score(h, key) >= 0.9] or [header]
        once = bool(header) and any(columns[h].share_unlike > 0.97 for h in named)
        alone = {"machines": MACHINE_SIGNS, "parts": PART_SIGNS, "aliases": {"alias"}}[kind]
        return (1.0 if once else 0.3) * (1.0 if have & alone else 0.3)
    if kind == "lines":
        # a date beside each machine once is a list of machines, whatever its columns are called
        unit = mapping.header("unit_id")
        is_list = have & {*_OF_THE_VISIT, *LINES_KEYS} <= {"service_date", "unit_id", "customer"}
        if is_list and unit and columns[unit].n_filled > 5 and columns[unit].share_unlike > 0.97:
            return 0.2
        return 1.0 if have & set(LINES_KEYS) else 0.2
    signs = {"kits": {"kit_number"}, "readings": {"value"}, "contracts": {"n_machines"}}[kind]
    return 1.0 if signs <= have else 0.1


MACHINE_SIGNS = {"in_service_on", "engine_model", "equipment_class", "left_on", "hours_per_week"}
PART_SIGNS = {"on_hand", "on_order", "unit_cost", "supplier", "lead_time_days", "pack_size"}


def line_tables(
    tables: list[Table], profiles: dict[int, dict[str, Profile]], solo: dict[int, dict[str, float]]
) -> tuple[list[Joined], dict[str, set[int]]]:
    """Tables of lines, with the tables joined to them.

    A table is one of lines when it looks like it alone, or when it holds parts or work and points
    to a table that has the date.
    """
    used: dict[str, set[int]] = {"lines": set(), "joined": set()}
    order = sorted(tables, key=lambda t: (-len(t.records), t.label))
    main: list[Joined] = []
    for table in order:
        if id(table) in used["lines"] or id(table) in used["joined"]:
            continue
        score = solo[id(table)]
        side = max((score[k] for k in SIDE_KINDS), default=0.0)
        is_side = side > score["lines"] and side > 0.4
        others = [t for t in tables if t is not table and id(t) not in used["lines"]]
        others = [t for t in others if len(t.records) <= len(table.records) * 1.2]
        date = _date_of(table, others, profiles)
        whole = join_all(table, others, date) if others else Joined(table)
        whole = _needed_joins(table, whole)
        whole = _used_joins(table, whole, date) if whole.joins else whole
        mapping = mapped(whole)
        holds = any(mapping.header(k) for k in LINES_KEYS) or score["lines"] > 0
        date_at = mapping.header("service_date")
        # lines of tickets have no date of their own and look like a list of parts
        by_join = bool(date_at) and date_at not in table.records.columns
        if date_at and holds and (by_join or not is_side):
            main.append(whole)
            used["lines"].add(id(table))
            used["joined"] |= {id(t) for t in whole.used}
    if not main:
        # nothing has a date: the table with the most rows is asked about
        main.append(Joined(order[0]))
        used["lines"].add(id(order[0]))
    return main, used


def _date_of(table: Table, others: list[Table], profiles: dict[int, dict[str, Profile]]) -> str:
    """Column of the job's date, where it stands in another table than the lines."""
    own = map_table(profiles[id(table)], "lines").header("service_date")
    if own:
        return ""
    for other in others:
        found = map_table(profiles[id(other)], "lines").header("service_date")
        if found and len(other.records) > 1:
            return found
    return ""


def mapped(whole: Joined) -> Mapping:
    """Columns of a table with its joins, read as lines."""
    records = whole.table.records
    kept = [c for c in records.columns if str(c) not in whole.surrogates]
    return map_table(profiles_of(records[kept]), "lines", keys=links_of(whole))


def links_of(whole: Joined) -> frozenset[str]:
    """Columns that point to a joined table."""
    return frozenset(str(n) for j in whole.joins for n, _ in j.keys)


def _needed_joins(table: Table, whole: Joined) -> Joined:
    """Keep joins only as far as they bring a column of ours the lines lack."""
    if not whole.joins:
        return whole
    if whole.surrogates:
        return whole
    kept = [c for c in table.records.columns if str(c) not in whole.surrogates]
    alone = map_table(profiles_of(table.records[kept]), "lines", keys=links_of(whole))
    have = {c.ours for c in alone.choices if c.is_sure}
    got = {
        c.ours for c in mapped(whole).choices if c.is_sure and c.header not in table.records.columns
    }
    # what machines and parts files tell is read from an export of their own
    return whole if (got - have) & set(_OF_THE_VISIT) else Joined(table)


def _used_joins(table: Table, whole: Joined, date: str) -> Joined:
    """Leave out joined tables of which no column is used."""
    # a machine's kind is read from the machines file, not from a join
    used_headers = {
        c.header for c in mapped(whole).choices if c.is_sure and c.ours != "equipment_class"
    } | whole.surrogates  # fmt: skip
    links = links_of(whole)
    kept = []
    for right in whole.used:
        label = right.sheet or right.raw.path.stem
        own = [str(c) for c in right.raw.cells.columns]
        names = {n for c in own for n in (c, f"{label}.{c}")} - set(
            map(str, table.raw.cells.columns)
        )
        if names & (used_headers | links):
            kept.append(right)
    return whole if len(kept) == len(whole.used) else join_all(table, kept, date)
