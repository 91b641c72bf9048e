"""A mapping laid open for a person: each column of each file, what it is read as, what it holds."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.draft.fits import cell_score
from dutylife.draft.names import name_score
from dutylife.draft.profile import profiles_of
from dutylife.intake import Mapped, mapped_files
from dutylife.intake.values import blanked
from dutylife.settings import Settings, read_settings
from dutylife.vocabulary import COLUMNS
from dutylife.wording import count

EXAMPLES = 3
LOOKS_UNLIKE = 0.2  # a fit of the cells below this: they do not look like it
NOT_USED = "not used"
UNREADABLE = "unreadable"
_COLUMNS = [
    "file", "header", "read_as", "meaning", "share_filled", "examples", "understood_as", "say",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class ConfirmedMapping:
    """Every column of every file, for a person to say yes or no to.

    Parameters
    ----------
    n_files, n_read, n_unused, n_doubtful : int
        Files; columns read, left out, and read although their cells do not look like it.
    rows : tuple of dict
        The rows of ``table``.
    """

    n_files: int
    n_read: int
    n_unused: int
    n_doubtful: int
    rows: tuple[dict[str, Any], ...] = field(repr=False)

    @property
    def table(self) -> pd.DataFrame:
        """A row a column of a file: header, what it is read as, share filled [1], examples as they
        stand and as they are understood, and what speaks against it (blank: nothing).
        """  # noqa: D205
        return pd.DataFrame(list(self.rows), columns=_COLUMNS)

    @property
    def text(self) -> str:
        """One plain sentence."""
        told = (
            f"{count(self.n_read, 'column')} of {count(self.n_files, 'file')} are read, "
            f"{self.n_unused} are not used"
        )
        if not self.n_doubtful:
            return f"{told}; nothing in the cells speaks against it."
        return (
            f"{told}; {count(self.n_doubtful, 'column')} should be looked at: see the column 'say'."
        )


def confirm_mapping(settings: str | Path | Settings) -> ConfirmedMapping:
    """Show what each column of each export is read as, with examples of what stands in it.

    Parameters
    ----------
    settings : path or Settings
        As for a run.

    Returns
    -------
    ConfirmedMapping
        Its ``table`` has the columns of all files in their order.

    Raises
    ------
    SettingsError, ExportError
        As `dutylife.check`.
    """
    given = settings if isinstance(settings, Settings) else read_settings(settings)
    files, _ = mapped_files(given)
    rows = [row for file in files for row in _of_file(file, given.fleet.meter_unit)]
    read = [r for r in rows if r["read_as"] != NOT_USED]
    doubtful = [r for r in read if r["say"]]
    return ConfirmedMapping(
        len(files), len(read), len(rows) - len(read), len(doubtful), tuple(rows)
    )


def _of_file(file: Mapped, meter_unit: str) -> list[dict[str, Any]]:
    cells = file.raw.as_text().cells[file.raw.usable]
    ours_of: dict[str, list[str]] = {}
    for ours, header in file.theirs.items():
        ours_of.setdefault(header, []).append(ours)
    rows: list[dict[str, Any]] = []
    for header, profile in profiles_of(cells).items():
        filled = blanked(cells[header].astype("object"))
        filled = filled[filled != ""].drop_duplicates().iloc[:EXAMPLES]
        shown = {
            "file": file.name, "header": header, "share_filled": round(profile.share_filled, 3),
            "examples": " | ".join(filled), "meaning": "", "understood_as": "", "say": "",
        }  # fmt: skip
        for ours in ours_of.get(header, [NOT_USED]):
            row = shown | {"read_as": ours}
            if ours != NOT_USED:
                told = _understood(file, ours, filled, meter_unit)
                fit = cell_score(ours, profile, file.export.kind)
                row |= {
                    "meaning": COLUMNS[ours].meaning, "understood_as": told,
                    "say": _doubt(ours, header, fit, told, has_cells=len(filled) > 0),
                }  # fmt: skip
            rows.append(row)
    return rows


def _understood(file: Mapped, ours: str, examples: pd.Series, meter_unit: str) -> str:
    """The examples as the run understands them; blank where that is the text itself."""
    kind, at = COLUMNS[ours].kind, examples.index
    if kind == "date":
        dates = file.dates(ours).loc[at]
        return " | ".join(UNREADABLE if pd.isna(d) else f"{d:%Y-%m-%d}" for d in dates)
    if kind in ("number", "count"):
        numbers = file.numbers(ours, meter_unit).loc[at]
        return " | ".join(UNREADABLE if pd.isna(n) else f"{n:g}" for n in numbers)
    words = file.cells(ours).loc[at]
    return "" if words.tolist() == examples.tolist() else " | ".join(map(str, words))


def _doubt(ours: str, header: str, fit: float, understood: str, *, has_cells: bool) -> str:
    if not has_cells:
        return "the column is empty"
    if UNREADABLE in understood:
        return "some cells can't be read as that"
    if fit < LOOKS_UNLIKE:
        return "the cells do not look like it"
    if name_score(header, ours) == 0.0 and fit < 2 * LOOKS_UNLIKE:
        return "neither the name nor the cells speak for it"
    return ""
