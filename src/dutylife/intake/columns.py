"""The mapping from an export's columns to ours: explicit, checked against the file's header."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process, utils

from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake.findings import finding, first_few
from dutylife.intake.layout import RawTable
from dutylife.intake.values import (
    blanked,
    coded,
    factor_of,
    from_codes,
    no_text,
    read_dates,
    read_meters,
    read_numbers,
    retold,
)
from dutylife.settings import Export
from dutylife.vocabulary import COLUMNS

# what a row of each kind of export may hold
LINE_COLUMNS = (
    "service_date", "ticket", "ticket_kind", "received_on", "ready_on", "unit_id", "customer",
    "duty", "equipment_class", "meter_hours", "complaint", "work_done", "part_number",
    "description", "line_kind", "quantity", "unit_price", "parts_wait_days",
)  # fmt: skip
MACHINE_COLUMNS = (
    "unit_id", "equipment_class", "engine_model", "in_service_on", "left_on", "customer", "duty",
    "hours_per_week",
)  # fmt: skip
PART_COLUMNS = (
    "part_number", "description", "on_hand", "on_order", "counted", "unit_cost", "supplier",
    "lead_time_days", "pack_size", "replaces", "replaced_by", "alternate_of",
    "nominal", "low_limit", "high_limit", "unit",
)  # fmt: skip
KIT_COLUMNS = ("kit_number", "part_number", "quantity")
ALIAS_COLUMNS = ("alias", "unit_id", "confirmed")
READING_COLUMNS = (
    "unit_id", "component", "position", "quantity", "unit", "part_number", "moment", "read_on",
    "value", "age_hours", "age_days",
)  # fmt: skip
CONTRACT_COLUMNS = (
    "contract", "equipment_class", "duty", "n_machines", "from_date", "hours_per_week",
)  # fmt: skip
COLUMNS_OF = {
    "lines": LINE_COLUMNS, "machines": MACHINE_COLUMNS, "roster": MACHINE_COLUMNS,
    "parts": PART_COLUMNS, "stock": PART_COLUMNS, "kits": KIT_COLUMNS, "aliases": ALIAS_COLUMNS,
    "readings": READING_COLUMNS, "contracts": CONTRACT_COLUMNS,
}  # fmt: skip
_METERS = ("meter_hours", "hours_per_week")


@dataclass(slots=True)
class Mapped:
    """One file under our column names.

    Parameters
    ----------
    name : str
        The file as tables and messages call it.
    text : DataFrame
        Our mapped columns as coded text (type category); blanks and words for "nothing" are "".
    reason : Series of str
        Why a row is set aside, blank while it is not.
    """

    name: str
    key: str
    export: Export
    raw: RawTable
    text: pd.DataFrame
    theirs: dict[str, str]
    units: dict[str, str]
    reason: pd.Series
    findings: list[dict[str, Any]] = field(default_factory=list)

    def coded(self, column: str) -> pd.Series:
        """Cells of one of our columns, coded; blank where it is not mapped."""
        if column in self.text:
            return self.text[column]
        return from_codes(np.zeros(len(self.text), dtype="int8"), [""], self.text.index)

    def cells(self, column: str) -> pd.Series:
        """Cells of one of our columns, of type object; blank where it is not mapped."""
        return self.coded(column).astype("object")

    def set_aside(self, rows: pd.Series, reason: str) -> None:
        """Set rows aside for a reason, unless they have one already."""
        if rows.any():
            self.reason = self.reason.mask(rows & self.usable, reason)

    @property
    def usable(self) -> pd.Series:
        """Rows that are not set aside."""
        return pd.Series(no_text(self.reason), index=self.reason.index)

    def dates(self, column: str) -> pd.Series:
        """Dates of a column."""
        if column not in self.text:
            return pd.Series(pd.NaT, index=self.text.index, dtype="datetime64[ns]")
        return read_dates(self.coded(column), self.export.date_order)

    def numbers(self, column: str, meter_unit: str) -> pd.Series:
        """Numbers of a column, in our unit."""
        if column not in self.text:
            return pd.Series(np.nan, index=self.text.index)
        unit = self.units.get(column, "")
        factor = factor_of(column, unit, meter_unit, f"{self.key}.columns.{column}")
        if column in _METERS:
            return read_meters(self.coded(column), self.export, unit, meter_unit)
        return read_numbers(self.coded(column), self.export) * factor

    def say_blanked(self, column: str, lost: pd.Series, table: str, why: str, mend: str) -> None:
        """Add one finding for cells that are left blank while their row is used."""
        if not lost.any():
            return
        lost = lost & self.usable
        if not lost.any():
            return
        cells = self.text.loc[lost, column].unique()
        rows = self.raw.source_row[lost]
        self.findings.append(
            finding(
                "intake",
                "ask",
                f"{self.name}: {int(lost.sum())} of {len(lost)} cells in "
                f"'{self.theirs[column]}' {why} and are left blank (rows {first_few(rows)}; "
                f"e.g. {first_few([repr(c) for c in cells[:3]])}).",
                mend=mend,
                table=table,
                key=column,
                source_file=self.name,
                source_row=int(rows.iloc[0]),
            )
        )


def map_columns(raw: RawTable, export: Export, name: str, key: str) -> Mapped:
    """Bring a file under our column names.

    Headers that already are our names need no mapping.

    Raises
    ------
    SettingsError
        A mapped column does not belong in this kind of export, or needed ones are not mapped.
    ColumnMissingError
        The file lacks a mapped column.
    """
    export = _settled(export)
    allowed = COLUMNS_OF[export.kind]
    strange = [c for c in [*export.columns, *export.values] if c not in allowed]
    if strange:
        raise SettingsError(
            f"A {export.kind} export has no column {', '.join(sorted(set(strange)))}.",
            f"{key}.columns",
            f"remove it; a {export.kind} export may hold: {', '.join(allowed)}",
        )
    headers = [str(c) for c in raw.cells.columns]
    wanted = {ours: source.column for ours, source in export.columns.items()}
    theirs = {ours: _header_of(given, headers) for ours, given in wanted.items()}
    missing = {ours: wanted[ours] for ours, header in theirs.items() if header is None}
    twice = [given for given in missing.values() if _header_of(f"{given} (2)", headers)]
    if twice:
        raise ExportError(
            f"Column '{twice[0]}' stands in the file twice.",
            f"{name}, header row {raw.header_row}",
            f"name it '{twice[0]} (1)' or '{twice[0]} (2)' in {key}.columns, or rename one of "
            "them in the export",
        )
    if missing:
        raise _missing(missing, headers, name, key, raw.header_row)
    found = {ours: header for ours, header in theirs.items() if header is not None}
    for header in headers:
        ours = header.lower().replace(" ", "_")
        if ours in allowed and ours not in found and header not in found.values():
            found[ours] = header
    text = pd.DataFrame({ours: blanked(coded(raw.cells[h])) for ours, h in found.items()})
    text = text.reindex(index=raw.cells.index)
    for ours, words in export.values.items():
        if ours in text:
            text[ours] = _translated(text[ours], words)
    units = {ours: source.unit for ours, source in export.columns.items() if source.unit}
    return Mapped(name, key, export, raw, text, found, units, raw.fault.copy())


def _settled(export: Export) -> Export:
    """Signs and date order that the settings leave open."""
    usual = {"decimal": ".", "date_order": "ymd"}
    open_keys = {k: v for k, v in usual.items() if not getattr(export, k)}
    return export.model_copy(update=open_keys)


def require_columns(mapped: Mapped, needed: tuple[str, ...], one_of: tuple[str, ...] = ()) -> None:
    """Raise `SettingsError` unless all of ``needed`` and one of ``one_of`` are mapped."""
    lacking = [c for c in needed if c not in mapped.text]
    says = [f"{c} ({COLUMNS[c].meaning})" for c in lacking]
    if one_of and not any(c in mapped.text for c in one_of):
        says.append("one of " + ", ".join(one_of))
    if says:
        raise SettingsError(
            f"The mapping lacks {'; and '.join(says)}.",
            f"{mapped.key}.columns ({mapped.name})",
            f'add a line such as {(lacking or list(one_of))[0]} = "THEIR COLUMN"; the file has: '
            + ", ".join(str(c) for c in mapped.raw.cells.columns),
        )


def _header_of(given: str, headers: list[str]) -> str | None:
    clean = " ".join(given.split())
    if clean in headers:
        return clean
    alike = [h for h in headers if h.casefold() == clean.casefold()]
    return alike[0] if len(alike) == 1 else None


def _missing(
    missing: dict[str, str], headers: list[str], name: str, key: str, header_row: int
) -> ColumnMissingError:
    named = ", ".join(f"'{given}'" for given in missing.values())
    hints = []
    for ours, given in missing.items():
        near = process.extractOne(
            given, headers, scorer=fuzz.WRatio, processor=utils.default_process, score_cutoff=60
        )
        if near:
            hints.append(f"for {ours} did you mean '{near[0]}'?")
    plural = "s" if len(missing) > 1 else ""
    return ColumnMissingError(
        f"Column{plural} {named} {'are' if plural else 'is'} not in the export.",
        f"{name}, header row {header_row} ({key}.columns)",
        " ".join([*hints, "The file has: " + ", ".join(headers) + "."]),
    )


def _translated(cells: pd.Series, words: dict[str, str]) -> pd.Series:
    folded = {k.casefold(): v for k, v in words.items()}
    return retold(cells, lambda texts: [words.get(t, folded.get(t.casefold(), t)) for t in texts])
