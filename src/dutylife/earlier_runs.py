"""Runs made before, in the folder that ``[report] history`` names: read back, never changed."""

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from dutylife.errors import RunError
from dutylife.provenance import Run, file_digest

_DEPTHS = ("", "*/", "*/*/")  # a run folder, a folder of runs, a folder of fleets' runs


@dataclass(frozen=True, slots=True)
class EarlierRun:
    """A finished run and the last day it knew of."""

    run: Run
    as_of: dt.date

    def digest(self, name: str) -> str:
        """SHA-256 of one of its tables, for run.json."""
        return file_digest(self.run.folder / "tables" / f"{name}.csv")


def earlier_runs(
    places: Iterable[str | Path], fleet: str, before: dt.date, *, with_table: str
) -> list[EarlierRun]:
    """Find the earlier runs of a fleet.

    Parameters
    ----------
    places : iterable of str or Path
        Run folders, or folders of them up to two levels deep; what is missing is passed over.
    fleet : str
        Name of the fleet; runs of another are passed over.
    before : date
        Runs of this as-of day or a later one are passed over.
    with_table : str
        Runs without this table are passed over.

    Returns
    -------
    list of EarlierRun
        The oldest first; of two of one day the later in the order of paths comes last.

    Raises
    ------
    RunError
        A run.json can't be read.
    """
    found = []
    for path in sorted({p for place in places for p in _infos(Path(place))}):
        try:
            info = json.loads(path.read_text(encoding="utf-8"))
            as_of = dt.date.fromisoformat(str(info["as_of"]))
            name = str(info["fleet"]["name"])
        except (ValueError, KeyError, TypeError) as error:
            raise RunError(
                f"An earlier run can't be read: {error!r}.",
                f"{path.parent.name}/{path.name}",
                "take it out of the folder that [report] history names, or make that run again",
            ) from error
        run = Run(path.parent)
        if name == fleet and as_of < before and run.has_table(with_table):
            found.append(EarlierRun(run, as_of))
    return sorted(found, key=lambda r: (r.as_of, str(r.run.folder)))


def _infos(place: Path) -> set[Path]:
    if not place.is_dir():
        return set()
    return {p for depth in _DEPTHS for p in place.glob(f"{depth}run.json")}
