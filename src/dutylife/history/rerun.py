"""The months around one run: taken up again, scored, held against, kept."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.history.path import Here
from dutylife.history.scoring import own_scores, scores_to_use
from dutylife.history.since import since_month, some
from dutylife.history.snapshot import Given, Snapshot, keep_month, months_kept
from dutylife.provenance import code_digest, versions
from dutylife.schema import empty_table
from dutylife.settings import Settings

Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Months:
    """The history of a fleet as a run meets it.

    Parameters
    ----------
    folder : Path
        Where months are kept.
    before : tuple of Snapshot
        Months before the run's as-of date, the oldest first; the last one it is held against.
    taken_up : Snapshot, optional
        The month of a past as-of date: what was given then is given again.
    is_closed : bool
        Whether a later month is kept: a run of this day is no month of the history then.
    """

    folder: Path
    before: tuple[Snapshot, ...]
    taken_up: Snapshot | None
    is_closed: bool

    def scored(self, tables: Tables, as_of: dt.date | None) -> pd.DataFrame:
        """Table "forecast_scores" of the months before."""
        if self.taken_up is not None:
            return self.taken_up.table("given", "forecast_scores")
        day = pd.Timestamp(str(as_of))
        return own_scores(list(self.before), tables["service_lines"], tables["catalogue"], day)

    def scores(self, own: pd.DataFrame, given: pd.DataFrame | None) -> pd.DataFrame | None:
        """Past scores for the stock, ``given`` by a back-test and the months' own."""
        if self.taken_up is not None:
            return some(self.taken_up.table("inputs", "forecast_scores"))
        return some(scores_to_use(given, own))

    def held_against(
        self, now: Here, made: Tables, *, read: Callable[[Settings], Tables],
        code: Callable[[Settings], Tables], tell: Callable[[str], None],
    ) -> tuple[Tables, pd.DataFrame]:  # fmt: skip
        """Tables "moved" and "record_changes", and findings; see `since_month`."""
        names = ("moved", "record_changes", "findings")
        if self.taken_up is not None:
            moved, changes, found = (self.taken_up.table("given", n) for n in names)
            return {"moved": moved, "record_changes": changes}, found
        if not self.before:
            return {n: empty_table(n) for n in names[:2]}, empty_table("findings")
        return since_month(self.before[-1], now, made, read=read, code=code, tell=tell)

    def about(self) -> dict[str, Any]:
        """For run.json: the month held against and the one taken up, by name and digest."""
        last = self.before[-1] if self.before else None
        return {"before": _named(last), "taken_up": _named(self.taken_up)}

    def unlike(self, digests: dict[str, str]) -> tuple[list[str], list[str]]:
        """Tables that are not those given then, with the reasons; of a month taken up."""
        if self.taken_up is None:
            return [], []
        about = self.taken_up.about
        then = about["tables"]
        unlike = sorted(n for n in digests.keys() | then.keys() if digests.get(n) != then.get(n))
        why = ["dutylife is another one now"] if about["code_digest"] != code_digest() else []
        why += [
            f"{name} is {now}, was {about['versions'].get(name, 'not there')}"
            for name, now in versions().items()
            if about["versions"].get(name) != now
        ]
        return unlike, why

    def as_given(self, digests: dict[str, str]) -> list[str]:
        """One sentence on a month taken up; nothing for any other run."""
        if self.taken_up is None:
            return []
        day = f"{self.taken_up.as_of:%Y-%m-%d}"
        unlike, why = self.unlike(digests)
        if not unlike:
            return [f"As given on {day}, from the inputs kept then: every table is the same"]
        told = "; ".join(why) or "program and versions are the same, so this is a fault of ours"
        return [
            f"From the inputs kept on {day}, but not as given then: {', '.join(unlike)} "
            f"{'differs' if len(unlike) == 1 else 'differ'}: {told}"
        ]

    def keep(self, run: Given) -> None:
        """Keep the run's month, unless it was taken up or a later one is kept."""
        if self.taken_up is not None or self.is_closed:
            return
        keep_month(self.folder, run)


def months_of(settings: Settings, run_folder: Path, as_of: dt.date | None) -> Months:
    """Months around a run of a day.

    Parameters
    ----------
    settings : Settings
    run_folder : Path
        The run's DIR.
    as_of : date
        The run's day.

    Notes
    -----
    The last month is still open: a run of its day is made anew and replaces it. A day behind
    which a later month is kept is past: kept itself, it is taken up; not kept, it is run from
    today's exports and leaves the history as it is.
    """
    folder = history_folder(settings, run_folder)
    months = months_kept(folder, settings.fleet.name)
    if as_of is None:
        return Months(folder=folder, before=(), taken_up=None, is_closed=False)
    closed = bool(months) and months[-1].as_of > as_of
    own = next((m for m in months if m.as_of == as_of), None)
    return Months(
        folder=folder, before=tuple(m for m in months if m.as_of < as_of),
        taken_up=own if closed else None, is_closed=closed,
    )  # fmt: skip


def history_folder(settings: Settings, run_folder: Path) -> Path:
    """Folder of the months: that of ``[report] history``, else ``history`` beside the run's folder.

    A run or a back-test that the key names is replaced whole when it is made again, so that
    nothing may be kept inside it: the months are then beside the run's folder, too.
    """
    key = settings.report.history
    place = settings.folder / key
    if key and place.is_dir() and not (place / "tables").is_dir():
        return place
    return run_folder.parent / "history"


def _named(month: Snapshot | None) -> dict[str, str] | None:
    if month is None:
        return None
    return {"name": month.path.name, "as_of": f"{month.as_of:%Y-%m-%d}", "digest": month.digest}
