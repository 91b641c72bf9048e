"""A later export against the settings of an earlier one: columns missing, new, likely renamed."""

from pathlib import Path

from dutylife.draft.names import folded
from dutylife.errors import ColumnMissingError, ExportError
from dutylife.intake import Intake, read_exports
from dutylife.intake.raw import find_files, read_tables
from dutylife.settings import Export, Settings


def read_or_tell_changes(settings: Settings) -> Intake:
    """Exports as read; where columns are missing, the whole difference is the message.

    Parameters
    ----------
    settings : Settings
        Of an earlier export, perhaps.

    Raises
    ------
    ExportError
        As `intake.read_exports`; of missing columns with what is missing, new, likely renamed.
    """
    try:
        return read_exports(settings)
    except ColumnMissingError as error:
        changed = changed_columns(settings)
        if not changed:
            raise
        raise ExportError(
            "The export's columns are not those these settings were written for.",
            "; ".join(changed),
            "correct the names under [exports.columns], or let `dutylife draft` write them anew",
        ) from error


def changed_columns(settings: Settings) -> list[str]:
    """Say how the files' columns differ from the ones the settings map; nothing where they fit.

    Parameters
    ----------
    settings : Settings
        Of an earlier export; its files are read as they are now.

    Returns
    -------
    list of str
        A message for each export whose columns do not fit.

    Raises
    ------
    ExportError
        A file is missing or no table.
    """
    out = []
    for number, export in enumerate(settings.exports, 1):
        key = f"exports.{number}"
        plain = export.model_copy(update={"join": [], "parts": [], "parts_cell": None})
        for place in find_files(export, settings.folder, f"{settings.source}: {key}"):
            for raw in read_tables(place, plain, key, settings.folder):
                have = [str(c) for c in raw.cells.columns]
                message = difference(export, have)
                if message:
                    label = raw.label if isinstance(place, Path) else str(place)
                    out.append(f"{label} ({key}): {message}")
    return out


def difference(export: Export, have: list[str]) -> str:
    """What changed between mapped columns and those of a file, in words; blank if none."""
    own = {s.column: o for o, s in export.columns.items()}
    made = {o for s in export.parts for o in s} | {
        c for j in export.join for c in ([j.left] if isinstance(j.left, str) else j.left)
    }
    there = {h.casefold() for h in have}
    missing = [c for c in own if c.casefold() not in there and c not in made]
    if not missing or export.join:
        return ""
    mapped = {c.casefold() for c in own}
    new = [h for h in have if h.casefold() not in mapped]
    renamed, left = [], list(new)
    for column in missing:
        near = _nearest(column, own[column], left)
        if near:
            renamed.append(f"'{column}' is likely '{near}' now")
            left.remove(near)
    told = [f"missing: {', '.join(repr(m) for m in missing)}"]
    told += [f"new: {', '.join(repr(n) for n in new)}"] if new else []
    told += [f"likely renamed: {'; '.join(renamed)}"] if renamed else []
    return "; ".join(told)


def _nearest(column: str, ours: str, among: list[str]) -> str:
    from rapidfuzz import fuzz

    from dutylife.draft.names import name_score

    scored = [
        (max(fuzz.WRatio(folded(column), folded(h)) / 100, name_score(h, ours)), h) for h in among
    ]
    best = max(scored, default=(0.0, ""))
    return best[1] if best[0] >= 0.75 else ""
