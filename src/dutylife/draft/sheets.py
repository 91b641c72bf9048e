"""Export files to the tables in them: laid out, filled down, monthly files put together."""

import os
import re
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from dutylife.errors import ExportError
from dutylife.intake.layout import RawTable, lay_out
from dutylife.intake.raw import Place
from dutylife.intake.readers import Sheet, read_sheets
from dutylife.settings import Export


@dataclass(frozen=True, slots=True)
class Table:
    """One table of one file, or of several files of one form.

    Parameters
    ----------
    path : str
        As the settings will name it: relative to their folder, a pattern for several files.
    raw : RawTable
    sheet, member : str
        Where it stands in its file; blank where a file is one table.
    fill_down : bool
        Cells blank below a ticket's first row were filled.
    source : str
        The file, so that tables of one file know each other.
    twins : tuple of Table
        Other tables of the same columns, whose rows stand in ``raw`` too.
    """

    path: str
    raw: RawTable
    sheet: str = ""
    member: str = ""
    fill_down: bool = False
    source: str = ""
    twins: tuple["Table", ...] = ()

    @property
    def label(self) -> str:
        """How messages call it."""
        return (
            f"{self.path} ({self.sheet or self.member})" if self.sheet or self.member else self.path
        )

    @property
    def records(self) -> pd.DataFrame:
        """Rows without a fault."""
        return self.raw.cells[self.raw.usable].reset_index(drop=True)

    @property
    def export(self) -> Export:
        """What the settings have to say to read this table."""
        return Export(
            path=self.path, sheet=self.sheet, member=self.member, fill_down=self.fill_down,
        )  # fmt: skip


def read_all(paths: list[Place], folder: Path) -> tuple[list[Table], list[str]]:
    """Every table of every file, and a message for each sheet that is none.

    Parameters
    ----------
    paths : list of Path or str
        Files, or database addresses.
    folder : Path
        Where the settings file will stand.

    Raises
    ------
    ExportError
        A file holds no table at all.
    """
    tables: list[Table] = []
    passed: list[str] = []
    for place in paths:
        tables += _of_file(place, folder, passed)
    return _together(tables), passed


def _of_file(place: Place, folder: Path, passed: list[str]) -> list[Table]:
    name = place if isinstance(place, str) else os.path.relpath(place, folder).replace(os.sep, "/")
    export = Export(path=name)
    sheets = read_sheets(place, export, "draft")
    kept = [s for s in sheets if not _is_inside(s, sheets)]
    found: list[Table] = []
    first: ExportError | None = None
    for sheet in kept:
        try:
            raw = lay_out(sheet, export, "draft")
        except ExportError as error:
            first = first or error
            passed.append(f"{sheet.label}: {error.what}")
            continue
        fill = bool(raw.fills_down)
        if fill:
            raw = lay_out(sheet, export.model_copy(update={"fill_down": True}), "draft")
        in_archive = isinstance(place, Path) and sheet.path != place
        member = sheet.path.relative_to(place).as_posix() if in_archive else ""
        raw = raw.as_text()
        found.append(Table(name, raw, sheet.name, member, fill, str(place)))
    if not found:
        raise first or ExportError("The file holds no table.", name, "export it again")
    if len(sheets) == 1 and found[0].sheet and not _has_sheets(sheets[0]):
        found = [replace(found[0], sheet="")]
    return found


def _has_sheets(sheet: Sheet) -> bool:
    """A database has to be told the table even where it is the only one; a workbook has not."""
    return sheet.path.suffix.lower() in (".db", ".sqlite", ".sqlite3", ".db3", ".sql")


def _is_inside(sheet: Sheet, sheets: list[Sheet]) -> bool:
    """A level whose rows stand, with all their fields, on the rows of a level below."""
    deeper = [s for s in sheets if s.path == sheet.path and s is not sheet and s.header]
    start = f"{sheet.name}." if sheet.name else ""
    return bool(sheet.header) and any(
        s.name.startswith(start) and s.name != sheet.name and len(s.header) > len(sheet.header)
        and len(s.cells) >= len(sheet.cells)
        for s in deeper
    ) and not _is_database(sheet)  # fmt: skip


def _is_database(sheet: Sheet) -> bool:
    return _has_sheets(sheet) or "://" in str(sheet.path)


def _together(tables: list[Table]) -> list[Table]:
    """Tables of like columns in files that differ in figures only, as one with a pattern."""
    out: list[Table] = []
    groups: dict[tuple[str, ...], list[Table]] = {}
    for table in tables:
        shape = re.sub(r"\d+", "#", _without_months(table.member or table.path))
        where = table.path if table.member else ""
        key = (where, shape, table.sheet, *sorted(map(str, table.raw.cells.columns)))
        groups.setdefault(key, []).append(table)
    for mine in groups.values():
        names = [t.member or t.path for t in mine]
        if len(mine) == 1 or len(set(names)) != len(names):
            out += mine
            continue
        pattern, whole = _pattern(names), stacked(mine)
        inside = bool(whole.member)
        out.append(replace(whole, member=pattern) if inside else replace(whole, path=pattern))
    return out


def stacked(tables: list[Table]) -> Table:
    """Rows of tables of the same columns below each other, in the place of the first table.

    Columns are matched by name and stand as in the first; cells count as typed where they are in
    all of them, as filled down where they are in one.
    """
    first = tables[0]
    columns = list(first.raw.cells.columns)
    raw = replace(
        first.raw,
        cells=pd.concat([t.raw.cells[columns] for t in tables], ignore_index=True),
        source_row=pd.concat([t.raw.source_row for t in tables], ignore_index=True),
        fault=pd.concat([t.raw.fault for t in tables], ignore_index=True),
        is_typed=all(t.raw.is_typed for t in tables),
    )
    return replace(first, raw=raw, fill_down=any(t.fill_down for t in tables))


_MONTH = re.compile(
    r"(?<![a-z])(jan(uary|uar|vier)?|feb(ruary|ruar)?|mar(ch|z)?|apr(il)?|ma[iy]|jun[ei]?|jul[yi]?|aug(ust)?"
    r"|sep(t|tember)?|o[ck]t(ober)?|nov(ember)?|de[cz](ember)?)(?![a-z])",
    re.IGNORECASE,
)
_AGAIN = re.compile(
    r"[-_ ]*\(?(?:re-?issued?|corrected|copy|kopie|copie|rev\w*|v\d+|new|neu)\)?", re.IGNORECASE
)


def _without_months(name: str) -> str:
    return _AGAIN.sub("", _MONTH.sub("#", name))


def _pattern(names: list[str]) -> str:
    """Shortest pattern with one star that has every name."""
    start = os.path.commonprefix(names)
    end = os.path.commonprefix([n[::-1] for n in names])[::-1]
    shortest = min(len(n) for n in names)
    end = end[-(shortest - len(start)) :] if shortest > len(start) and end else ""
    start = re.sub(r"\d+$", "", start)
    return f"{start}*{end}"
