"""All exports of a run to its input tables, every source row accounted for."""

from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.errors import ExportError, SettingsError
from dutylife.intake.columns import COLUMNS_OF, Mapped, map_columns
from dutylife.intake.duties import (
    ask_duties,
    build_spans,
    fill_duties,
    say_unused,
    stated_duties,
    with_duty_column,
)
from dutylife.intake.findings import finding, first_few
from dutylife.intake.history import apply_history
from dutylife.intake.history.accounts import Account
from dutylife.intake.history.aliases import read_aliases
from dutylife.intake.history.contracts import build_contracts, read_contracts
from dutylife.intake.history.given_readings import build_readings, read_readings
from dutylife.intake.history.kits import read_kits
from dutylife.intake.history.roster import mark_present, say_roster
from dutylife.intake.layout import NoRowsError, RawTable
from dutylife.intake.lines import join_files, read_lines
from dutylife.intake.machines import build_units, read_machines
from dutylife.intake.names import name_key, one_spelling, respelled
from dutylife.intake.parts import build_shelf, read_parts
from dutylife.intake.raw import Place, find_files, read_tables, with_note, without_rows
from dutylife.intake.rows import (
    Intake,
    SourceFile,
    account,
    blank_as_missing,
    damaged_cells,
    findings_of,
    set_aside_table,
    set_taken_aside,
)
from dutylife.intake.settle import settled_exports
from dutylife.schema import as_table, filled_from
from dutylife.secret import VARIABLE, secret
from dutylife.settings import KINDS, Settings
from dutylife.spread import spread
from dutylife.wording import count


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
    files, duty_column = mapped_files(settings)
    of_kind = {k: [f for f in files if f.export.kind == k] for k in KINDS}
    read = list(spread(_typed, settings, of_kind["lines"], settings.compute))
    # where processes or other machines read them, they come back as copies with their faults
    typed = iter([f for f, _ in read])
    files = [next(typed) if f.export.kind == "lines" else f for f in files]
    of_kind["lines"] = [f for f, _ in read]
    of_machines = [*of_kind["machines"], *of_kind["roster"]]
    machines = _stacked([read_machines(f, settings) for f in of_machines], "machines")
    of_parts = [f for f in files if f.export.kind in ("parts", "stock")]
    parts = _stacked([read_parts(f, settings) for f in of_parts], "parts")
    kits = _stacked([read_kits(f, settings) for f in of_kind["kits"]], "kits")
    aliases = _stacked([read_aliases(f) for f in of_kind["aliases"]], "aliases")
    contracts = _stacked([read_contracts(f, settings) for f in of_kind["contracts"]], "contracts")
    readings = _stacked([read_readings(f, settings) for f in of_kind["readings"]], "readings")
    lines, as_of, notes = join_files(read, settings.fleet.as_of)
    del read, typed  # each file's lines once more
    if as_of is None or lines.empty:
        raise _nothing_usable(of_kind["lines"])
    lines, machines, parts, spelled = _one_spelling(lines, machines, parts)
    history = apply_history(lines, machines, parts, kits=kits, aliases=aliases, settings=settings)
    lines, machines, parts = history.lines, history.machines, history.parts
    set_taken_aside(of_kind["lines"], history)
    units, listed, contradictions = build_units(machines, lines, settings)
    rosters = machines["source_file"].isin([f.name for f in of_kind["roster"]])
    on_roster = set(machines.loc[rosters, "unit_id"])
    units = mark_present(units, on_roster)
    duties = stated_duties(settings)
    lines = fill_duties(lines, listed, duties, duty_column)
    spans = build_spans(units, lines, listed, duties, as_of)
    shelf, counted = build_shelf(parts)
    unused = say_unused(
        settings, units["unit_id"].astype("object"), _customers(lines, listed), duties
    )
    kept = Account()
    say_roster(units, on_roster, kept)
    contract_table = build_contracts(contracts, kept)
    unused += ask_duties(settings, lines)
    notes += [*spelled, *history.findings, *contradictions, *counted, *unused, *kept.findings]
    for file in files:
        notes += [*file.findings, *findings_of(file), *damaged_cells(file)]
    n_records = lines.groupby("source_file")["record"].nunique()
    tables = {
        "service_lines": as_table("service_lines", blank_as_missing(lines)),
        "set_aside": set_aside_table(files),
        "findings": as_table("findings", pd.DataFrame(notes).drop_duplicates("finding_id"))
        if notes
        else as_table("findings", pd.DataFrame()),
        "units": units,
        "unit_spans": spans,
        "shelf": shelf,
        "contracts": contract_table,
        **history.tables,
    }
    if of_kind["readings"]:
        tables["readings"] = build_readings(readings, pd.Timestamp(as_of))
    sources = tuple(
        SourceFile(
            f.name, f.export.kind, len(f.raw.cells), f.raw.digest,
            n_records.get(f.name, 0) if f.export.kind == "lines" else int((f.reason == "").sum()),
            int((f.reason != "").sum()),
        )
        for f in files
    )  # fmt: skip
    intake = Intake(tables, sources, as_of)
    account(intake)
    return intake


def mapped_files(settings: Settings) -> tuple[list[Mapped], str]:
    """Return every file under our column names, and the column of ours that holds the duty.

    Parameters
    ----------
    settings : Settings
        As `read_exports`, with the same errors.
    """
    _require_kinds(settings)
    keys, raws = _read_all(settings)
    exports, duty_column = with_duty_column(settings, raws, keys)
    exports = settled_exports(exports, raws, keys, settings.source)
    names = _names([r.path for r in raws], [(e.kind, e.sheet) for e in exports], settings.folder)
    files = [
        map_columns(raw, export, name, key)
        for raw, export, name, key in zip(raws, exports, names, keys, strict=True)
    ]
    return files, duty_column


def _require_kinds(settings: Settings) -> None:
    for number, export in enumerate(settings.exports, 1):
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


def _typed(settings: Settings, file: Mapped) -> tuple[Mapped, pd.DataFrame]:
    """A file of lines, its faults marked in it, and its typed lines."""
    return file, read_lines(file, settings)


def _read_all(settings: Settings) -> tuple[list[str], list[RawTable]]:
    places = _places(settings)
    jobs = [(number, place) for number, of in places.items() for place in of]
    found = spread(_read_one, settings, jobs, settings.compute)
    read: dict[int, list[list[RawTable] | NoRowsError]] = {number: [] for number in places}
    for (number, _), tables in zip(jobs, found, strict=True):
        read[number].append(tables)
    keys: list[str] = []
    raws: list[RawTable] = []
    for number, of_export in read.items():
        without = [found for found in of_export if isinstance(found, NoRowsError)]
        tables = [t for found in of_export if not isinstance(found, NoRowsError) for t in found]
        # of monthly files one may be without rows; all of them, or the only one, may not
        if not tables:
            raise without[0]
        if without:
            tables[-1] = with_note(tables[-1], without_rows(without))
        keys += [f"exports.{number}"] * len(tables)
        raws += tables
    return keys, raws


def _places(settings: Settings) -> dict[int, list[Place]]:
    """Files of each export, by its number; none may be named twice."""
    taken: dict[tuple[Place, str, str, str], str] = {}
    out: dict[int, list[Place]] = {}
    for number, export in enumerate(settings.exports, 1):
        key = f"exports.{number}"
        where = f"{settings.source}: {key}"
        for name in VARIABLE.findall(export.path):  # known here, whichever process reads
            secret(name, f"{where}.path")
        out[number] = find_files(export, settings.folder, where)
        for place in out[number]:
            at = place if isinstance(place, str) else place.resolve()
            same = (at, export.sheet, export.member, export.kind)
            if same in taken:
                raise SettingsError(
                    f"{repr(at.name) if isinstance(at, Path) else 'The database'} is named twice, "
                    f"by {taken[same]} and {key}.",
                    f"{where}.path",
                    "remove one of them, or narrow the pattern",
                )
            taken[same] = key
    return out


def _read_one(settings: Settings, job: tuple[int, Place]) -> list[RawTable] | NoRowsError:
    """Tables of one file; a file without rows is told when its export's others are read."""
    number, place = job
    where = f"{settings.source}: exports.{number}"
    try:
        return read_tables(place, settings.exports[number - 1], where, settings.folder)
    except NoRowsError as error:
        return error


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


def _stacked(frames: list[pd.DataFrame], kind: str) -> pd.DataFrame:
    filled = [f for f in frames if len(f)]
    if filled:
        return pd.concat(filled, ignore_index=True)
    empty = pd.DataFrame({c: pd.Series(dtype="object") for c in COLUMNS_OF[kind]})
    return empty.assign(source_file="", source_row=0)


def _one_spelling(
    lines: pd.DataFrame, machines: pd.DataFrame, parts: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, list[dict[str, Any]]]:
    # columns are put in place of others; cells are not changed
    lines, machines, parts = (frame.copy(deep=False) for frame in (lines, machines, parts))
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
    if listed.empty:
        return lines["customer"]
    both: pd.Series = pd.concat([lines["customer"], filled_from(listed["customer"], "")])
    return both


def _nothing_usable(files: list[Mapped]) -> ExportError:
    reasons = pd.concat([f.reason for f in files]).value_counts()
    told = ", ".join(f"{n} {r}" for r, n in reasons.items() if r)
    return ExportError(
        f"Not one line of the exports can be used: {told}.",
        ", ".join(f.name for f in files),
        "check fleet.as_of, date_order, decimal and the mapped columns",
    )
