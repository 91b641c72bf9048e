"""Exports to a proposed settings file: what each file is, its joins, its columns, what to ask."""

from dataclasses import replace
from pathlib import Path

from dutylife.draft.choices import Mapping
from dutylife.draft.joins import Joined, join_all
from dutylife.draft.linetables import SIDE_KINDS, line_tables, links_of, shape_factor, solo_scores
from dutylife.draft.mapping import map_table
from dutylife.draft.names import is_not_ours, kind_words, name_score
from dutylife.draft.profile import Profile, profiles_of
from dutylife.draft.settling import DraftedExport, settle, settle_by_the_others
from dutylife.draft.sheets import Table, read_all
from dutylife.draft.twins import as_one, each_one
from dutylife.draft.wide import find_groups, find_parts_cell, unnamed_groups
from dutylife.intake.layout.parts import one_row_a_part
from dutylife.intake.raw import Place

_MOST_NUMBERS = 16


def draft_exports(paths: list[Place], folder: Path) -> tuple[list[DraftedExport], list[str]]:
    """Decide every table of the files; tables that only serve a join are not repeated.

    Returns
    -------
    tuple
        The exports, lines first, and messages for sheets that were passed over.
    """
    tables, passed = read_all(paths, folder)
    tables = as_one(tables)
    profiles = {id(t): profiles_of(t.records) for t in tables}
    solo = {id(t): solo_scores(t, profiles[id(t)]) for t in tables}
    main, used = line_tables(tables, profiles, solo)
    drafted = [_finish_lines(j) for j in main]
    known = _known(drafted)
    for table in tables:
        if id(table) in used["lines"]:
            continue
        drafted_side = _side(table, profiles[id(table)], known, is_used=id(table) in used["joined"])
        if drafted_side is not None:
            free = [t for t in tables if t is not table and id(t) not in used["lines"]]
            drafted.append(_with_customer(drafted_side, free, known))
            known = _known(drafted)
        elif id(table) not in used["joined"]:
            passed.append(
                f"{table.label}: looks like none of the kinds of export that are read "
                f"(columns: {', '.join(map(str, list(table.raw.cells.columns)[:8]))})"
            )
            if drafted and _holds_work(table, profiles[id(table)], tables):
                drafted[0] = replace(drafted[0], questions=(*drafted[0].questions, _ask_of(table)))
    return each_one(settle_by_the_others(drafted)), passed


def _with_customer(
    one: DraftedExport, others: list[Table], known: dict[str, set[str]]
) -> DraftedExport:
    """Machines that name their customer by a number take the name from the table of customers."""
    if one.export.kind != "machines" or one.mapping.header("customer") or not others:
        return one
    whole = join_all(one.table, others)
    if not whole.joins:
        return one
    kept = [c for c in whole.table.records.columns if str(c) not in whole.surrogates]
    columns = profiles_of(whole.table.records[kept])
    mapping = map_table(columns, "machines", known=known, keys=links_of(whole))
    unit = one.mapping.header("unit_id")
    if not mapping.header("customer") or mapping.header("unit_id") != unit:
        return one
    export = one.table.export.model_copy(update={"kind": "machines", "join": list(whole.joins)})
    return settle(DraftedExport(whole.table, export, mapping, (), (), whole.used), columns)


def _holds_work(table: Table, columns: dict[str, Profile], tables: list[Table]) -> bool:
    """Parts, figures or keys stand in a table nothing reads: leaving it out may lose them."""
    mapping = map_table(columns, "lines")
    if any(mapping.header(o) for o in ("part_number", "quantity", "unit_price")):
        return True
    return bool(join_all(table, [t for t in tables if t is not table]).joins)


def _ask_of(table: Table) -> str:
    return (
        f"{table.label} would not be read though it holds parts, figures or keys of other tables: "
        "is it lines of the tickets? (add it as [[exports]] or [[exports.join]], or leave it away)"
    )


def _finish_lines(whole: Joined) -> DraftedExport:
    table, raw = whole.table, whole.table.raw
    export = table.export.model_copy(update={"join": list(whole.joins)})
    headers = [str(c) for c in raw.cells.columns]
    groups = find_groups(headers)
    notes: list[str] = []
    questions: list[str] = []
    if groups:
        export = export.model_copy(update={"parts": list(groups.slots)})
        notes.append(f"each row holds up to {len(groups.slots)} parts in columns of their own")
    else:
        cell = find_parts_cell(table.records)
        if cell:
            export = export.model_copy(update={"parts_cell": cell})
            notes.append(f"'{cell.column}' lists the parts of a visit")
        strange = unnamed_groups(headers)
        if strange:
            questions.append(
                f"parts: {', '.join(map(repr, strange[:4]))} ... look like the parts of a visit "
                "side by side: which is the part number, text, quantity, price? (parts = [...])"
            )
    if export.parts or export.parts_cell:
        raw = one_row_a_part(raw, export, "draft")
        table = replace(table, raw=raw)
    records = table.records
    kept = [c for c in records.columns if str(c) not in whole.surrogates]
    columns = profiles_of(records[kept])
    totals = _totals(columns)
    mapping = map_table(columns, "lines", totals=totals, keys=links_of(whole))
    notes += [f"'{t}' is quantity times price and was left out" for t in sorted(totals)]
    draft = DraftedExport(table, export, mapping, tuple(questions), tuple(notes), whole.used)
    return settle(draft, columns)


def _totals(columns: dict[str, Profile]) -> dict[str, tuple[str, str]]:
    """Columns of figures that are the product of two others, with those two."""
    numbers = [h for h, p in columns.items() if p.share_figures > 0.9 and p.share_dates < 0.5]
    # so many number columns are months or readings side by side, no quantity, price and total
    if not 3 <= len(numbers) <= _MOST_NUMBERS:
        return {}
    out: dict[str, tuple[str, str]] = {}
    for total in numbers:
        if max(
            name_score(total, "unit_price"), name_score(total, "quantity")
        ) >= 1.0 and not is_not_ours(total):
            continue
        for i, a in enumerate(numbers):
            for b in numbers[i + 1 :]:
                if total in (a, b):
                    continue
                x, y, z = columns[a].values, columns[b].values, columns[total].values
                known = (
                    x.notna() & y.notna() & z.notna() & (x.abs() != 1) & (y.abs() != 1) & (z != 0)
                )
                if known.sum() >= 10 and float(((x * y - z).abs()[known] < 0.02).mean()) > 0.8:
                    out.setdefault(total, (a, b))
    return out


def _known(drafted: list[DraftedExport]) -> dict[str, set[str]]:
    known: dict[str, set[str]] = {"unit_id": set(), "part_number": set(), "customer": set()}
    for one in drafted:
        for ours, values in known.items():
            header = one.mapping.header(ours)
            if header:
                values |= set(one.table.records[header].str.casefold()) - {""}
    return known


def _side(
    table: Table, columns: dict[str, Profile], known: dict[str, set[str]], *, is_used: bool
) -> DraftedExport | None:
    """A table that is not of lines: machines, parts, kits, ...; None where it is none."""
    told = kind_words(f"{table.path} {table.sheet} {table.member}")
    own = kind_words(table.sheet or table.member or table.path)
    best: tuple[float, Mapping] | None = None
    for kind in SIDE_KINDS:
        mapping = map_table(columns, kind, known=known)
        if mapping.quality == 0:
            continue
        score = mapping.quality + 0.25 * own.get(kind, 0.0) + 0.1 * told.get(kind, 0.0)
        score *= shape_factor(kind, mapping, columns)
        if best is None or score > best[0]:
            best = (score, mapping)
    if best is None or best[0] < (0.5 if is_used else 0.35):
        return None
    mapping = best[1]
    export = table.export.model_copy(update={"kind": mapping.kind})
    return settle(DraftedExport(table, export, mapping), columns)
