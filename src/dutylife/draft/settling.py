"""What a drafted table still needs: date order, signs, words of categories; what to ask."""

from dataclasses import dataclass, field, replace

import pandas as pd

from dutylife.draft.categories import line_kind_words, ticket_kind_words
from dutylife.draft.choices import NEEDED, Mapping
from dutylife.draft.profile import Profile
from dutylife.draft.sheets import Table
from dutylife.draft.text import quoted
from dutylife.intake.settle import evidence_of_dates, evidence_of_numbers, order_question
from dutylife.intake.values import blanked, read_dates
from dutylife.settings import Export, SourceColumn
from dutylife.vocabulary import COLUMNS

_MOST_QUESTIONS = 3
_EXAMPLES = 3
LINES_KEYS = ("unit_id", "part_number", "description", "complaint", "work_done")
_ORDER = "date_order: "
_DECIMAL = "decimal: "


@dataclass(frozen=True, slots=True)
class DraftedExport:
    """One table of the exports as the settings will read it.

    Parameters
    ----------
    table : Table
        With its joins done and its wide rows taken apart.
    export : Export
        Every key that is sure.
    mapping : Mapping
    questions : tuple of str
        What has to be answered before this table can be read.
    notes : tuple of str
        What a person should know; comments of the file.
    """

    table: Table
    export: Export
    mapping: Mapping
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    joined: tuple[Table, ...] = field(default_factory=tuple)
    tells_order: bool = False

    @property
    def not_read(self) -> list[str]:
        """Headers of the columns that are read as nothing."""
        return [h for h in self.mapping.left_out if h not in self.mapping.refused]

    tells_decimal: bool = False


def settle(draft: DraftedExport, columns: dict[str, Profile]) -> DraftedExport:
    """Write the columns, the date order and the signs that are decided; ask for the rest."""
    mapping, raw = draft.mapping, draft.table.raw
    export, questions, notes = draft.export, list(draft.questions), list(draft.notes)
    slots = {o for s in export.parts for o in s} | (
        {"part_number", "description", "quantity", "unit_price"} if export.parts_cell else set()
    )
    mapped = {c.ours: c.header for c in mapping.choices if c.is_sure}
    # columns that the rows' own parts made already have our names
    written = {o: h for o, h in mapped.items() if not (o in slots and h == o)}
    units = {o: _unit_of(o, h) for o, h in written.items()}
    export = export.model_copy(
        update={"columns": {o: SourceColumn(column=h, unit=units[o]) for o, h in written.items()}}
    )
    records = draft.table.records
    told: dict[str, str] = {}
    dates = [blanked(records[h]) for o, h in mapped.items() if COLUMNS[o].kind == "date"]
    if dates:
        evidence = evidence_of_dates(dates, [raw])
        draft = replace(draft, tells_order=evidence.n_deciding > 0)
        if evidence.order:
            told["date_order"] = evidence.order
            notes.append(f"date_order: {evidence.reason}")
        else:
            questions.append(f"{_ORDER}{order_question(evidence)}")
    numbers = [
        blanked(records[h]) for o, h in mapped.items() if COLUMNS[o].kind in ("number", "count")
    ]
    if numbers:
        signs = evidence_of_numbers(numbers, [raw])
        draft = replace(draft, tells_decimal=signs.n_deciding > 0)
        if signs.decimal:
            told |= {"decimal": signs.decimal, "thousands": signs.thousands}
            notes.append(f"decimal: {signs.reason}")
        else:
            questions.append(f"{_DECIMAL}{signs.reason}")
    export = export.model_copy(update=told)
    export, more = _with_values(export, mapped, records)
    notes += more
    questions += _missing(mapping, mapped, columns)
    questions += [f"{n.message.rstrip('.')}: {n.mend}" for n in raw.notes if n.kind == "ask"]
    return replace(
        draft, export=export, questions=tuple(questions[:_MOST_QUESTIONS]), notes=tuple(notes)
    )


def _unit_of(ours: str, header: str) -> str:
    """Unit a header names, where it is not the usual one."""
    plain = header.casefold()
    if ours == "meter_hours":
        for word, unit in (("mile", "miles"), ("km", "km"), ("kilom", "km"), ("minute", "minutes")):
            if word in plain:
                return unit
    if ours == "lead_time_days":
        for words, unit in ((("week", "woche", "semaine", "semana", "weken"), "weeks"),):
            if any(w in plain for w in words):
                return unit
    return ""


def _with_values(
    export: Export, mapped: dict[str, str], records: pd.DataFrame
) -> tuple[Export, list[str]]:
    values: dict[str, dict[str, str]] = {}
    notes = []
    if "line_kind" in mapped:
        names = ("line_kind", "part_number", "quantity", "unit_price")
        cells = pd.DataFrame({o: blanked(records[mapped[o]]) for o in names if o in mapped})
        found, unknown = line_kind_words(cells, export)
        if found:
            values["line_kind"] = found
        if unknown:
            notes.append(
                "line_kind: what these words mean is told from text and figures: "
                + ", ".join(unknown[:8])
            )
    if "ticket_kind" in mapped:
        found = ticket_kind_words(blanked(records[mapped["ticket_kind"]]))
        if found:
            values["ticket_kind"] = found
    return export.model_copy(update={"values": values}), notes


def _missing(mapping: Mapping, mapped: dict[str, str], columns: dict[str, Profile]) -> list[str]:
    """Questions for needed columns that are not sure."""
    asked = []
    for ours in NEEDED[mapping.kind]:
        if ours not in mapped:
            asked.append(f"{ours} ({COLUMNS[ours].meaning}): {_which(ours, mapping, columns)}")
    if (
        mapping.kind == "lines"
        and not any(o in mapped for o in LINES_KEYS)
        or (
            mapping.kind == "lines"
            and "unit_id" not in mapped
            and any(c.ours == "unit_id" for c in mapping.choices)
        )
    ):
        asked.append(
            f"unit_id ({COLUMNS['unit_id'].meaning}): {_which('unit_id', mapping, columns)}"
        )
    near = [c.header for c in mapping.choices if c.ours == "customer"]
    if mapping.kind == "lines" and "customer" not in mapped and near:
        names = blanked(columns[near[0]].cells)
        shown = ", ".join(names[names != ""].drop_duplicates().iloc[:_EXAMPLES])
        asked.append(
            f"customer: does '{near[0]}' ({shown}) say whose a machine is? "
            f"(then write customer = {quoted(near[0])} in its [exports.columns])"
        )
    return asked


def _which(ours: str, mapping: Mapping, columns: dict[str, Profile]) -> str:
    near = [c.header for c in mapping.choices if c.ours == ours]
    if not near and COLUMNS[ours].kind == "date":
        near = [h for h, p in columns.items() if p.share_dates > 0.7]
    if near:
        return "is it " + " or ".join(f"'{h}'" for h in near[:4]) + "?"
    return "no column looks like it; the file has " + ", ".join(list(columns)[:10])


def settle_by_the_others(drafted: list[DraftedExport]) -> list[DraftedExport]:
    """Take the date order or decimal mark of the other files where a file alone can't tell.

    Files of one program are written alike; the reason stands beside the key. Where the others do
    not agree, or their order does not read the dates, the question stays.
    """
    return [_with_order(_with_decimal(d, drafted), drafted) for d in drafted]


def _with_order(one: DraftedExport, drafted: list[DraftedExport]) -> DraftedExport:
    if not any(q.startswith(_ORDER) for q in one.questions):
        return one
    told = {
        d.export.date_order
        for d in drafted
        if d is not one and d.export.date_order and d.tells_order
    }
    if len(told) != 1:
        return one
    order = told.pop()
    for choice in one.mapping.choices:
        if choice.is_sure and COLUMNS[choice.ours].kind == "date":
            cells = blanked(one.table.records[choice.header])
            if read_dates(cells[cells != ""], order).isna().any():
                return one
    return replace(
        one,
        export=one.export.model_copy(update={"date_order": order}),
        questions=tuple(q for q in one.questions if not q.startswith(_ORDER)),
        notes=(*one.notes, f"{_ORDER}as in the other files; no date in this one tells"),
    )


def _with_decimal(one: DraftedExport, drafted: list[DraftedExport]) -> DraftedExport:
    if not any(q.startswith(_DECIMAL) for q in one.questions):
        return one
    told = {d.export.decimal for d in drafted if d is not one and d.tells_decimal}
    if len(told) != 1:
        return one
    decimal = told.pop()
    other = "," if decimal == "." else "."
    return replace(
        one,
        export=one.export.model_copy(update={"decimal": decimal, "thousands": other}),
        questions=tuple(q for q in one.questions if not q.startswith(_DECIMAL)),
        notes=(*one.notes, f"{_DECIMAL}as in the other files; no figure in this one tells"),
    )
