"""All exports of a run to its input tables, every source row accounted for."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.errors import ExportError, RunError, SettingsError
from dutylife.intake.columns import MACHINE_COLUMNS, PART_COLUMNS, Mapped, map_columns
from dutylife.intake.duties import (
    build_spans,
    fill_duties,
    say_unused,
    stated_duties,
    with_duty_column,
)
from dutylife.intake.findings import finding, first_few
from dutylife.intake.lines import join_files, read_lines
from dutylife.intake.machines import build_units, read_machines
from dutylife.intake.names import name_key, one_spelling, respelled
from dutylife.intake.parts import build_shelf, read_parts
from dutylife.intake.readers import RawTable, find_files, read_raw
from dutylife.intake.values import filled_from
from dutylife.schema import as_table
from dutylife.settings import KINDS, Settings
from dutylife.wording import count

# reasons that need nobody: the row is fine, or holds nothing
_NEEDS_NOBODY = (
    "blank row", "header repeated", "totals row", "row repeated", "read already from another file",
    "after the as-of date",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SourceFile:
    """An export file: how it is called in tables, what it holds, its rows, used rows and digest."""

    name: str
    kind: str
    n_rows: int
    digest: str
    n_used: int


@dataclass(frozen=True, slots=True)
class Intake:
    """What the exports hold.

    Parameters
    ----------
    tables : dict of DataFrame
        service_lines, set_aside, findings, units, unit_spans, shelf.
    files : tuple of SourceFile
        In the order of the settings.
    as_of : date
        Last day the run knows of.
    """

    tables: dict[str, pd.DataFrame]
    files: tuple[SourceFile, ...]
    as_of: dt.date


def read_exports(settings: Settings) -> Intake:
    """Read every export of the settings.

    Parameters
    ----------
    settings : Settings
        ``exports`` holds at least one of kind "lines".

    Returns
    -------
    Intake
        Typed tables, the files with their digests, and the as-of date.

    Raises
    ------
    SettingsError
        No lines export, a kind that is not built, a column that is not mapped.
    ExportError, ColumnMissingError, TableError
        A file is missing, empty, not a table, or lacks a column.
    """
    _require_kinds(settings)
    keys, raws = _read_all(settings)
    exports, duty_column = with_duty_column(settings, raws, keys)
    names = _names([r.path for r in raws], [(e.kind, e.sheet) for e in exports], settings.folder)
    files = [
        map_columns(raw, export, name, key)
        for raw, export, name, key in zip(raws, exports, names, keys, strict=True)
    ]
    of_kind = {k: [f for f in files if f.export.kind == k] for k in KINDS}
    read = [(f, read_lines(f, settings)) for f in of_kind["lines"]]
    machines = _stacked([read_machines(f, settings) for f in of_kind["machines"]], MACHINE_COLUMNS)
    parts = _stacked([read_parts(f, settings) for f in of_kind["parts"]], PART_COLUMNS)
    lines, as_of, notes = join_files(read, settings.fleet.as_of)
    if as_of is None or lines.empty:
        raise _nothing_usable(of_kind["lines"])
    lines, machines, parts, spelled = _one_spelling(lines, machines, parts)
    units, listed, contradictions = build_units(machines, lines, settings)
    duties = stated_duties(settings)
    lines = fill_duties(lines, listed, duties, duty_column)
    spans = build_spans(units, lines, listed, duties, as_of)
    shelf, counted = build_shelf(parts)
    unused = say_unused(
        settings, units["unit_id"].astype("object"), _customers(lines, listed), duties
    )
    notes += [*spelled, *contradictions, *counted, *unused]
    for file in files:
        notes += [*file.findings, *_grouped(file)]
    tables = {
        "service_lines": as_table("service_lines", lines.mask(lines == "")),
        "set_aside": _set_aside(files),
        "findings": as_table("findings", pd.DataFrame(notes).drop_duplicates("finding_id"))
        if notes
        else as_table("findings", pd.DataFrame()),
        "units": units,
        "unit_spans": spans,
        "shelf": shelf,
    }
    sources = tuple(
        SourceFile(
            f.name, f.export.kind, len(f.raw.cells), f.raw.digest, int((f.reason == "").sum())
        )
        for f in files
    )
    intake = Intake(tables, sources, as_of)
    account(intake)
    return intake


def account(intake: Intake) -> pd.DataFrame:
    """Rows in, used and set aside of each file.

    Returns
    -------
    DataFrame
        file, kind, n_rows, n_used, n_set_aside.

    Raises
    ------
    RunError
        The rows of a file do not add up: a fault of this program.
    """
    aside = intake.tables["set_aside"]["source_file"].astype("object").value_counts()
    lines = intake.tables["service_lines"]["source_file"].astype("object").value_counts()
    rows = [
        {
            "file": f.name,
            "kind": f.kind,
            "n_rows": f.n_rows,
            "n_used": int(lines.get(f.name, 0)) if f.kind == "lines" else f.n_used,
            "n_set_aside": int(aside.get(f.name, 0)),
        }
        for f in intake.files
    ]
    table = pd.DataFrame(rows, columns=["file", "kind", "n_rows", "n_used", "n_set_aside"])
    lost = table[table["n_rows"] != table["n_used"] + table["n_set_aside"]]
    if len(lost):
        raise RunError(
            f"{len(lost)} files do not add up: rows in are not rows used plus rows set aside.",
            ", ".join(lost["file"]),
            "this is a fault of the program, not of the files; please report it with the file",
        )
    return table


def _require_kinds(settings: Settings) -> None:
    for number, export in enumerate(settings.exports, 1):
        if export.kind not in KINDS:
            raise SettingsError(
                f'Exports of kind "{export.kind}" are not built yet.',
                f"{settings.source}: exports.{number}.kind",
                f"remove this export; kinds that are read: {', '.join(KINDS)}",
            )
        if export.thousands and export.thousands == export.decimal:
            raise SettingsError(
                f"decimal and thousands are both '{export.decimal}'.",
                f"{settings.source}: exports.{number}.thousands",
                "one of them must be another sign, or thousands blank",
            )
    if not any(e.kind == "lines" for e in settings.exports):
        raise SettingsError(
            'No export of kind "lines" is given.',
            f"{settings.source}: exports",
            'add [[exports]] with path = "invoices.csv" and its columns',
        )


def _read_all(settings: Settings) -> tuple[list[str], list[RawTable]]:
    keys: list[str] = []
    raws: list[RawTable] = []
    taken: dict[tuple[Path, str, str], str] = {}
    for number, export in enumerate(settings.exports, 1):
        key = f"exports.{number}"
        for path in find_files(export, settings.folder, f"{settings.source}: {key}"):
            same = (path.resolve(), export.sheet, export.kind)
            if same in taken:
                raise SettingsError(
                    f"'{path.name}' is named twice, by {taken[same]} and {key}.",
                    f"{settings.source}: {key}.path",
                    "remove one of them, or narrow the pattern",
                )
            taken[same] = key
            keys.append(key)
            raws.append(read_raw(path, export, f"{settings.source}: {key}"))
    return keys, raws


def _names(paths: list[Path], uses: list[tuple[str, str]], folder: Path) -> list[str]:
    """How files are called: the path from the settings' folder; kind or sheet where shared."""
    names = []
    for path in paths:
        inside = path.is_relative_to(folder) and folder != Path()
        names.append(path.relative_to(folder).as_posix() if inside else path.name)
    out: list[str] = []
    for name, (kind, sheet) in zip(names, uses, strict=True):
        full = name if names.count(name) == 1 else f"{name} ({sheet or kind})"
        n_same = sum(o == full or o.startswith(f"{full} no. ") for o in out)
        out.append(f"{full} no. {n_same + 1}" if n_same else full)
    return out


def _stacked(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    filled = [f for f in frames if len(f)]
    if filled:
        return pd.concat(filled, ignore_index=True)
    empty = pd.DataFrame({c: pd.Series(dtype="object") for c in columns})
    return empty.assign(source_file="", source_row=0)


def _one_spelling(
    lines: pd.DataFrame, machines: pd.DataFrame, parts: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, list[dict[str, Any]]]:
    lines, machines, parts = lines.copy(), machines.copy(), parts.copy()
    notes = []
    for column, other in (("unit_id", machines), ("customer", machines), ("part_number", parts)):
        both = pd.concat([lines[column], other[column]])
        spelling = one_spelling(both, other[column])
        before = both[both != ""]
        changed = sorted(set(before) - set(spelling.values()))
        if changed:
            pairs = zip(changed, name_key(pd.Series(changed)), strict=True)
            notes.append(
                finding(
                    "intake", "note",
                    f"{count(len(changed), 'spelling')} of {column} brought to the usual one: "
                    + first_few([f"'{c}' to '{spelling[k]}'" for c, k in pairs]) + ".",
                    mend="they differ in capitals or spaces only; correct them in the exports",
                    table="service_lines", key=column,
                )
            )  # fmt: skip
        lines[column] = respelled(lines[column], spelling)
        other[column] = respelled(other[column], spelling)
    return lines, machines, parts, notes


def _customers(lines: pd.DataFrame, listed: pd.DataFrame) -> pd.Series:
    both: pd.Series = pd.concat([lines["customer"], filled_from(listed["customer"], "")])
    return both


def _set_aside(files: list[Mapped]) -> pd.DataFrame:
    frames = []
    for file in files:
        rows = file.reason != ""
        cells = file.raw.cells[rows]
        detail = cells.apply(lambda r: " | ".join(c for c in r if c)[:200], axis=1)
        frames.append(
            pd.DataFrame(
                {
                    "source_file": file.name,
                    "source_row": file.raw.source_row[rows],
                    "reason": file.reason[rows],
                    "detail": detail if len(cells) else "",
                    "needs_person": ~file.reason[rows].isin(_NEEDS_NOBODY),
                }
            )
        )
    return as_table("set_aside", pd.concat(frames, ignore_index=True))


def _grouped(file: Mapped) -> list[dict[str, Any]]:
    """One finding for each reason that needs a person, and for rows shorter than the header."""
    notes = []
    for reason, rows in file.raw.source_row.groupby(file.reason):
        if reason == "" or reason in _NEEDS_NOBODY:
            continue
        notes.append(
            finding(
                "intake", "fault",
                f"{file.name}: {len(rows)} of {len(file.reason)} rows set aside, {reason} "
                f"(rows {first_few(rows)}).",
                mend="correct these rows in the export; they are listed in set_aside",
                table="set_aside", key=str(reason), source_file=file.name,
                source_row=int(rows.iloc[0]),
            )
        )  # fmt: skip
    if file.raw.n_short:
        notes.append(
            finding(
                "intake", "note",
                f"{file.name}: {file.raw.n_short} rows have fewer cells than the header; the "
                "missing ones were read as blank.",
                table="set_aside", key="short rows", source_file=file.name,
            )
        )  # fmt: skip
    return notes


def _nothing_usable(files: list[Mapped]) -> ExportError:
    reasons = pd.concat([f.reason for f in files]).value_counts()
    told = ", ".join(f"{n} {r}" for r, n in reasons.items() if r)
    return ExportError(
        f"Not one line of the exports can be used: {told}.",
        ", ".join(f.name for f in files),
        "check fleet.as_of, date_order, decimal and the mapped columns",
    )
