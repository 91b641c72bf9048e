"""From an export's settings to its tables of text: files found, read, laid out, joined."""

import glob
from dataclasses import replace
from pathlib import Path

from dutylife.disk import is_file
from dutylife.errors import ExportError, SettingsError
from dutylife.intake.layout import NoRowsError, RawTable, lay_out
from dutylife.intake.layout.joins import joined
from dutylife.intake.layout.parts import one_row_a_part
from dutylife.intake.readers import ReadNote, Sheet, named_sheets, read_sheets
from dutylife.provenance import file_digest
from dutylife.settings import Export, Join
from dutylife.wording import count

Place = Path | str
_LONGEST_NAME = 255  # bytes of one name in a path, where the file system is a usual one
_LONGEST = 1000  # signs of a path


def find_files(export: Export, folder: Path, key: str) -> list[Place]:
    """Return the files an export names: one path, every match of a pattern, or an address.

    Parameters
    ----------
    export : Export
    folder : Path
        Where relative paths start.
    key : str
        The settings key, for messages.

    Raises
    ------
    ExportError
        No such file.
    """
    if "://" in export.path:
        scheme, _, rest = export.path.partition(":///")
        if scheme == "sqlite" and rest:
            return find_files(export.model_copy(update={"path": rest}), folder, key)
        return [export.path]
    path = folder / export.path
    too_long = len(export.path) > _LONGEST or any(
        len(part.encode("utf-8", "replace")) > _LONGEST_NAME for part in Path(export.path).parts
    )
    if "\x00" in export.path or too_long:
        raise ExportError(
            "The path of the export is none that a file can have.", f"{key}.path", "correct it"
        )
    if is_file(path):
        return [path]
    if any(sign in export.path for sign in "*?["):
        found = sorted(Path(p) for p in glob.glob(str(path)) if is_file(Path(p)))  # noqa: PTH207
        if found:
            return list(found)
    there = sorted(p.name for p in path.parent.glob("*") if is_file(p))
    raise ExportError(
        f"The export '{export.path}' does not exist.",
        f"{key}.path",
        "correct the path (it starts at the settings file's folder); "
        + (f"that folder holds: {', '.join(there[:12])}" if there else "that folder is not there"),
    )


def read_raw(path: Place, export: Export, key: str) -> RawTable:
    """Read the one table of a file that an export means.

    Raises
    ------
    ExportError
        Empty, unreadable, not a table, or a header without rows.
    """
    return read_tables(path, export, key)[0]


def read_tables(path: Place, export: Export, key: str, folder: Path = Path()) -> list[RawTable]:
    """Read the tables of a file that an export means: one, or one of each member of an archive.

    Of several sheets without a name in the settings, the one with the mapped columns is meant,
    else the first that is a table.

    Parameters
    ----------
    path : Path or str
    export : Export
        Its joins are done and its wide rows taken apart.
    key : str
    folder : Path
        Where the paths of joined files start.

    Raises
    ------
    ExportError
        As `read_raw`.
    SettingsError
        A sheet, member or column that is not there.
    """
    before = _state(path)
    sheets = read_sheets(path, export, key)
    of_file: dict[Path, list[Sheet]] = {}
    for sheet in sheets:
        of_file.setdefault(sheet.path, []).append(sheet)
    digest = file_digest(path) if isinstance(path, Path) else ""
    if _state(path) != before:
        raise ExportError(
            "The file changed while it was read.", str(getattr(path, "name", path)),
            "let the program that writes it end, or give a copy, and run again",
        )  # fmt: skip
    tables: list[RawTable] = []
    passed: list[ExportError] = []
    for mine in of_file.values():
        try:
            raw = _meant(mine, export, key)
        except ExportError as error:
            if export.member or len(of_file) == 1:
                raise
            passed.append(error)
            continue
        for number, join in enumerate(export.join, 1):
            at = f"{key}.join.{number}"
            right = _right_table(join, path, mine, export, at, folder)
            date = export.columns.get("service_date")
            # one of several files of lines can't tell which tickets have no lines at all
            alone = date is not None and not (join.path and any(c in export.path for c in "*?["))
            raw = joined(raw, right, join, date.column if date and alone else "", at)
        raw = one_row_a_part(raw, export, key)
        tables.append(replace(raw, digest=raw.digest or digest))
    if not tables:
        raise passed[0]
    if passed:
        told = "; ".join(f"{e.where}: {e.what.rstrip('.')}" for e in passed[:5])
        note = ReadNote(
            f"{count(len(passed), 'member')} of the archive were not read ({told}).",
            f'set member in {key} to the files that count, for example member = "*.csv"',
            kind="ask",
        )
        tables[0] = with_note(tables[0], note)
    return tables


def _state(path: Place) -> tuple[int, ...]:
    """What is another when a file is written to, or another file stands in its place."""
    if isinstance(path, str):
        return ()
    try:
        told = path.stat()
    except OSError:  # whoever opens it says why it can't be
        return ()
    return told.st_size, told.st_mtime_ns, told.st_ino, told.st_dev


def with_note(raw: RawTable, note: ReadNote) -> RawTable:
    """Return the table with one more note."""
    return replace(raw, notes=(*raw.notes, note))


def without_rows(errors: list[NoRowsError]) -> ReadNote:
    """Return the note on files of a pattern that have a header but no rows."""
    return ReadNote(
        f"{count(len(errors), 'other file')} of the same pattern "
        f"{'has' if len(errors) == 1 else 'have'} a header but no rows: "
        + ", ".join(e.where for e in errors[:12])
        + ".",
        "export them again if something was done in their period",
        kind="ask",
    )


def _meant(sheets: list[Sheet], export: Export, key: str) -> RawTable:
    near = named_sheets(sheets, export, key)
    if len(near) == 1:
        return lay_out(near[0], export, key)
    wanted = {" ".join(s.column.split()).casefold() for s in export.columns.values()}
    best: tuple[int, int] = (-1, 0)
    chosen: RawTable | None = None
    first_error: ExportError | None = None
    for number, sheet in enumerate(near):
        try:
            raw = lay_out(sheet, export, key)
        except ExportError as error:  # a cover sheet, or one without rows
            first_error = first_error or error
            continue
        hits = len(wanted & {str(c).casefold() for c in raw.cells.columns})
        if (hits, -number) > best or chosen is None:
            best, chosen = (hits, -number), raw
    if chosen is None:
        raise first_error or ExportError("The file holds no table.", str(near[0].path.name), "")
    return chosen


def _right_table(
    join: Join, place: Place, mine: list[Sheet], export: Export, key: str, folder: Path
) -> RawTable:
    """Table of a join: in the same file, in another member of its archive, or in another file."""
    kept = {
        "sheet": join.sheet, "member": join.member, "header_row": join.header_row,
        "fill_down": join.fill_down, "columns": {}, "join": [], "parts": [], "parts_cell": None,
    }  # fmt: skip
    as_export = export.model_copy(update=kept)
    if not join.path and not join.member:
        if not join.sheet:
            raise SettingsError(
                "The join names neither path nor sheet.", key, 'for example sheet = "Tickets"'
            )
        # of a database only the table asked for was read
        there = mine if isinstance(place, Path) else read_sheets(place, as_export, key)
        return lay_out(named_sheets(there, as_export, key)[0], as_export, key)
    if not join.path:
        # the archive itself, with another member
        archive = next(p for p in mine[0].path.parents if is_file(p))
        return read_tables(archive, as_export, key)[0]
    as_export = as_export.model_copy(update={"path": join.path})
    places = find_files(as_export, folder, key)
    tables = [t for p in places for t in read_tables(p, as_export, key)]
    return _stacked(tables, key)


def _stacked(tables: list[RawTable], key: str) -> RawTable:
    """Several files of one join as one table, for example the monthly files of tickets."""
    if len(tables) == 1:
        return tables[0]
    import pandas as pd

    names = [list(map(str, t.cells.columns)) for t in tables]
    if any(set(n) != set(names[0]) for n in names):
        raise ExportError(
            "The files of this join have unlike columns.",
            ", ".join(t.label for t in tables[:5]),
            f"give each its own export, or narrow {key}.path",
        )
    return replace(
        tables[0],
        cells=pd.concat([t.cells[names[0]] for t in tables], ignore_index=True),
        source_row=pd.concat([t.source_row for t in tables], ignore_index=True),
        fault=pd.concat([t.fault for t in tables], ignore_index=True),
        notes=tuple(n for t in tables for n in t.notes),
    )
