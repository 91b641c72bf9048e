"""What a person says of texts: corrections.csv read, checked, and put in place of what was read."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rapidfuzz import process

from dutylife.coding.keys import as_typed, content_key, is_key
from dutylife.coding.mentions import Mention, Reading
from dutylife.components import Component, short_name
from dutylife.disk import is_file
from dutylife.errors import SettingsError
from dutylife.settings import Settings
from dutylife.vocabulary import WORDS

FILLED = ("component", "activity", "reason", "finding")  # what the person fills in
NONE = "none"  # as component: the text speaks of no component
_TEXT = ("content_key", "text", "part_description")
_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Correction:
    """One row of the file; blanks leave what was read of the text as it is."""

    key: str
    text: str
    part_description: str
    components: tuple[str, ...]
    is_none: bool
    activity: str
    reason: str
    finding: str
    row: int

    @property
    def label(self) -> str:
        """What to call it in a finding."""
        said = self.text or self.part_description or self.key
        return f"'{said}' (row {self.row})"


@dataclass(frozen=True, slots=True)
class Corrections:
    """All rows by content key, in the order of the file."""

    by_key: dict[str, tuple[Correction, ...]]
    file: str = ""

    def of(self, text: str, part_description: str = "") -> tuple[Correction, ...]:
        """Rows that speak of a work text or of a part line's description."""
        return self.by_key.get(content_key(text, part_description), ()) if self.by_key else ()


def read_corrections(settings: Settings, components: dict[str, Component]) -> Corrections:
    """Read the file named by ``[coding] corrections``; nothing when none is named.

    The file has the columns of to_review.csv; rows in which the person filled nothing are no
    corrections. Several rows of one key speak of several components; several components in a cell
    are joined by ``;``. Component "none" says that the text speaks of no component.

    Raises
    ------
    SettingsError
        The file is missing or not such a table, or rows can't be used: every fault with its row
        and how to mend it.
    """
    if not settings.coding.corrections:
        return Corrections({})
    path = settings.folder / settings.coding.corrections
    where = f"{settings.source}: coding.corrections ({path.name})"
    rows = _rows(path, where)
    faults: list[str] = []
    found: dict[str, list[Correction]] = {}
    for number, cells in rows:
        one = _correction(number, cells, components, faults)
        if one is None:
            continue
        for other in found.get(one.key, []):
            _against(one, other, faults)
        found.setdefault(one.key, []).append(one)
    if faults:
        n = len(faults)
        more = f"; and {n - _SHOWN} more" if n > _SHOWN else ""
        raise SettingsError(
            f"{n} {'fault' if n == 1 else 'faults'} in the corrections: "
            + "; ".join(faults[:_SHOWN]) + more + ".",
            where,
            "mend these rows, or empty their component, activity, reason and finding",
        )  # fmt: skip
    return Corrections({k: tuple(c) for k, c in found.items()}, path.name)


def _rows(path: Path, where: str) -> list[tuple[int, dict[str, str]]]:
    """Rows of the file with their row number; the header is row 1."""
    if not is_file(path):
        raise SettingsError("The corrections file does not exist.", where, "check the path")
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")  # a spreadsheet's own habit
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    try:
        lines = [
            [as_typed(c.strip()) for c in row]
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        ]
    except csv.Error as error:
        raise SettingsError(
            f"The corrections file is no readable table: {error}.", where,
            "save it as CSV from the to_review.csv that check writes",
        ) from error  # fmt: skip
    header = [c.casefold() for c in lines[0]] if lines else []
    missing = [c for c in FILLED if c not in header]
    if missing or not any(c in header for c in _TEXT):
        raise SettingsError(
            f"Row 1 of the corrections names no column {', '.join(missing or _TEXT)}.", where,
            "keep the first row of to_review.csv as it is",
        )  # fmt: skip
    twice = sorted({c for c in (*FILLED, *_TEXT) if header.count(c) > 1})
    if twice:
        raise SettingsError(
            f"Row 1 of the corrections names {', '.join(twice)} twice.", where, "delete one"
        )
    out = []
    for number, row in enumerate(lines[1:], start=2):
        if len(row) > len(header) and any(row[len(header) :]):
            raise SettingsError(
                f"Row {number} of the corrections has {len(row)} cells, its header {len(header)}.",
                where, "put a text that holds the delimiter in quotes",
            )  # fmt: skip
        if any(row):
            out.append((number, dict(zip(header, row, strict=False))))
    return out


def _correction(
    number: int, cells: dict[str, str], components: dict[str, Component], faults: list[str]
) -> Correction | None:
    said = {c: cells.get(c, "") for c in FILLED}
    if not any(said.values()):
        return None
    key, text, part = (cells.get(c, "") for c in _TEXT)
    if key and not is_key(key):
        faults.append(
            f"row {number}: content_key '{key}' is none; copy it from to_review.csv, or leave it "
            "blank and give text or part_description"
        )
        return None
    if not key and not text and not part:
        faults.append(f"row {number}: neither content_key nor text nor part_description is given")
        return None
    names: list[str] = []
    wanted = [c.strip() for c in said["component"].split(";") if c.strip()]
    is_none = [w.casefold() for w in wanted] == [NONE]
    for given in [] if is_none else wanted:
        name = short_name(given, components) or short_name(given.casefold(), components)
        if name is None:
            faults.append(
                f"row {number}: component '{given}' is not known{_near(given, components)}"
            )
        elif name not in names:
            names.append(name)
    for column in ("activity", "reason", "finding"):
        said[column] = said[column].casefold()
        if said[column] and said[column] not in WORDS[column]:
            faults.append(
                f"row {number}: {column} '{said[column]}' is none of {', '.join(WORDS[column])}"
            )
    return Correction(
        key or content_key(text, part), text, part, tuple(names), is_none, said["activity"],
        said["reason"], said["finding"], number,
    )  # fmt: skip


def _near(given: str, components: dict[str, Component]) -> str:
    hit = process.extractOne(given.casefold(), sorted(components), score_cutoff=70)
    own = f'add [coding.components."{given}"] to the settings'
    return f" (did you mean '{hit[0]}'? else {own})" if hit else f" ({own})"


def _against(one: Correction, other: Correction, faults: list[str]) -> None:
    """Two rows of one text must speak of different components, or say the same."""
    shared = set(one.components) & set(other.components)
    is_vague = one.is_none or other.is_none or not one.components or not other.components
    said = (one.components, one.is_none, one.activity, one.reason, one.finding)
    same = said == (other.components, other.is_none, other.activity, other.reason, other.finding)
    if (shared or is_vague) and not same:
        faults.append(
            f"row {one.row}: the text of row {other.row} again, but with another answer; keep one"
        )


def corrected_reading(read: Reading, rows: Iterable[Correction]) -> Reading:
    """A text as the person says; what the person left blank stays as it was read."""
    rows = list(rows)
    if not rows:
        return read
    by_name = {m.component: m for m in read.mentions}
    mentions: list[Mention] = []
    for row in rows:
        names = row.components or (() if row.is_none else tuple(by_name))
        for name in names:
            was = by_name.get(name, Mention(name, "", "", (), "", 0))
            finding = row.finding or was.finding
            mentions.append(
                was._replace(
                    component=name,
                    activity=row.activity or was.activity,
                    finding="" if finding == "untested" else finding,
                    modes=was.modes if finding == was.finding else (),
                    reason=row.reason or was.reason,
                    is_sure=bool(row.reason),
                )
            )
    unlike = {m.component: m for m in reversed(mentions)}
    kept = [unlike[n] for n in dict.fromkeys(m.component for m in mentions)]
    is_fault = read.is_fault or any(m.finding in ("failed", "over limit") for m in kept)
    return Reading(kept, read.spoken | {"corrected"}, read.tickets, read.points_to, is_fault)


def corrected_parts(
    named: dict[str, tuple[str, ...]], corrections: Corrections
) -> dict[str, tuple[str, ...]]:
    """Components of the part descriptions that a correction names; blank where it says none."""
    out: dict[str, tuple[str, ...]] = {}
    for description in named if corrections.by_key else ():
        rows = corrections.of("", description)
        names = tuple(dict.fromkeys(n for row in rows for n in row.components))
        if names or any(row.is_none for row in rows):
            out[description] = names
    return out
