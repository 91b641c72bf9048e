"""Whether exports still hold what an earlier run read from them."""

from pathlib import Path

from dutylife.disk import is_file
from dutylife.intake.exports import read_exports
from dutylife.intake.raw import find_files
from dutylife.provenance import file_digest
from dutylife.settings import Settings


def same_exports(settings: Settings, digests: set[str], read_at: float) -> bool:
    """Whether the exports, and the files beside them, are what they were.

    Parameters
    ----------
    settings : Settings
    digests : set of str
        Of the ``files`` of the earlier reading.
    read_at : float
        When that was. [s since 1970] Files without a digest there (duties, words, corrections,
        joined tables) must be older.

    Raises
    ------
    SettingsError, ExportError
        An export is missing or can't be read.
    """
    if any(path.stat().st_mtime > read_at for path in _beside(settings) if is_file(path)):
        return False
    places = [
        place
        for number, export in enumerate(settings.exports, 1)
        for place in find_files(export, settings.folder, f"{settings.source}: exports.{number}")
    ]
    files = [p for p in places if isinstance(p, Path)]
    if len(files) == len(places) and {file_digest(p) for p in files} == digests:
        return True
    # a database has a digest of its rows, and a file without rows is no source
    return {file.digest for file in read_exports(settings).files} == digests


def _beside(settings: Settings) -> list[Path]:
    named = [settings.duty.path, settings.coding.lexicon, settings.coding.corrections]
    named += [settings.plan.in_force]  # a plan may be a file
    named += [join.path for export in settings.exports for join in export.join]
    return [settings.folder / name for name in named if name]
