"""Dated snapshots of a fleet: kept, found and read back, each whole or not there at all.

A snapshot is a file AS-OF_FLEET.json, which names a folder AS-OF_FLEET_DIGEST with sorted Parquet.
The folder is built aside and renamed, then the file is replaced in one step: whenever a run is
killed, the file names a whole folder, the earlier one or the new one.
"""

import datetime as dt
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.disk import alone_in, in_our_words, removed, write_whole
from dutylife.errors import RunError
from dutylife.provenance import code_digest, digest_of, file_digest, versions
from dutylife.run_folder import quiet_base, write_exact
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.vocabulary import TABLES

Tables = dict[str, pd.DataFrame]
FORMAT = 1
# what every stage behind coding follows from, and what a run folder shows of reading and coding
INPUTS = (
    "service_lines", "units", "unit_spans", "maintenance_events", "readings", "catalogue",
    "shelf", "contracts", "kits", "aliases", "set_aside", "not_understood", "corrections_used",
    "findings", "forecast_scores", "stated_plan",
)  # fmt: skip
# what was recommended and forecast, and what was told of the month: the columns looked at later
GIVEN: dict[str, tuple[str, ...]] = {
    "intervals": (
        "component", "duty", "task", "interval_hours", "interval_days", "n_failed", "clock",
    ),
    "stock_plan": ("part_number", "component", "on_hand", "order_up_to", "order_now"),
    "demand_forecast": (
        "part_number", "component", "plan", "from_date", "months", "p50", "p80", "p95",
        "life_p50", "life_p80", "life_p95",
    ),
    "forecast_scores": (),
    "moved": (),
    "record_changes": (),
    "visit_plan": (),  # what became of it is told next month
    "visits_kept": (),
    "findings": (),  # those of the history; what was found before them is an input
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Given:
    """A finished run, to be kept.

    Parameters
    ----------
    settings : Settings
        ``fleet.as_of`` filled.
    inputs : dict of DataFrame
        Tables of `INPUTS` as they were after coding; ``forecast_scores`` those the stock was
        given.
    tables : dict of DataFrame
        Tables of the run.
    digests : dict of str
        SHA-256 of each table's CSV, by name.
    accounts : list of dict
        Files of the run with their digests and rows.
    before : str
        Digest of the month it was held against; blank where there was none.
    """

    settings: Settings
    inputs: Tables
    tables: Tables
    digests: dict[str, str]
    accounts: list[dict[str, Any]]
    before: str


@dataclass(frozen=True, slots=True, eq=False)
class Snapshot:
    """A kept month.

    Parameters
    ----------
    path : Path
        AS-OF_FLEET.json.
    about : dict
        Its content.
    """

    path: Path
    about: dict[str, Any]

    @property
    def as_of(self) -> dt.date:
        """Last day the run knew of."""
        return dt.date.fromisoformat(self.about["as_of"])

    @property
    def digest(self) -> str:
        """SHA-256 of all that is kept: the file holds the digests of the others."""
        return file_digest(self.path)

    def settings(self, today: Settings) -> Settings:
        """Settings as they were then; files named in them are looked for where today's are."""
        try:
            then = Settings.model_validate(self.about["settings"])
        except ValueError as error:
            raise RunError(
                f"The settings of {self.as_of:%Y-%m-%d} are not understood by this version.",
                self.path.name, "nothing to mend; that month is no longer compared",
            ) from error  # fmt: skip
        return then.model_copy(update={"folder": today.folder, "source": today.source})

    def inputs(self) -> Tables:
        """Tables of `INPUTS`."""
        return self._read("inputs")

    def given(self) -> Tables:
        """Tables of `GIVEN`, with the columns that are kept; the others are blank."""
        return self._read("given")

    def table(self, part: str, name: str) -> pd.DataFrame:
        """One table of "inputs" or "given".

        Raises
        ------
        RunError
            The file is missing or is not the one that was written.
        """
        path = self.path.parent / self.about["folder"] / part / f"{name}.parquet"
        if not path.is_file() or file_digest(path) != self.about[part][name]:
            raise RunError(
                f"The month of {self.as_of:%Y-%m-%d} is not as it was kept.",
                f"{path.parent.parent.name}/{part}/{path.name}",
                f"put the folder back from a copy, or take {self.path.name} and its folder out "
                "of the history: that month is then not known any more",
            )
        with quiet_base() as base:
            frame = base.execute("select * from read_parquet(?)", [str(path)]).df()
        left_out = [
            c for c, col in TABLES[name].columns.items() if col.kind == "count" and c not in frame
        ]
        return as_table(name, frame.assign(**dict.fromkeys(left_out, 0)))

    def _read(self, part: str) -> Tables:
        return {name: self.table(part, name) for name in self.about[part]}


def months_kept(history: Path, fleet: str) -> list[Snapshot]:
    """Kept months of a fleet, the oldest first.

    Raises
    ------
    RunError
        A month's file can't be read.
    """
    out = []
    for path in sorted(history.glob(f"*_{slug_of(fleet)}.json")):
        try:
            about = json.loads(path.read_text(encoding="utf-8"))
            known = about["format"] == FORMAT
        except (ValueError, KeyError, TypeError) as error:
            raise RunError(
                "A kept month can't be read.", path.name,
                "put it back from a copy, or take it and its folder out of the history",
            ) from error  # fmt: skip
        if not known:
            raise RunError(
                "A month was kept by a later version of dutylife.", path.name,
                "install that version, or name another folder in [report] history",
            )  # fmt: skip
        if about["fleet"] == fleet:
            out.append(Snapshot(path, about))
    return out


def keep_month(history: Path, run: Given) -> Snapshot:
    """Keep a run's month in the history; one of the same day is replaced in one step.

    Parameters
    ----------
    history : Path
        Made where it is not there.
    run : Given

    Returns
    -------
    Snapshot

    Raises
    ------
    RunError
        The disk is full or may not be written to; the history is as it was.
    """
    if run.settings.fleet.as_of is None:
        raise ValueError("settings.fleet.as_of must be filled")
    # two runs with folders of their own may share a history: each waits for the other
    with in_our_words(history), alone_in(history.absolute() / "months", wait_seconds=600):
        try:
            return _kept(history, run, run.settings.fleet.as_of)
        finally:  # what this run could not end, or one that was killed
            for left in history.glob(f"*_{slug_of(run.settings.fleet.name)}*.new"):
                removed(left)


def _kept(history: Path, run: Given, as_of: dt.date) -> Snapshot:
    fleet = run.settings.fleet
    name = f"{as_of:%Y-%m-%d}_{slug_of(fleet.name)}"
    new = history / f"{name}.new"
    removed(new)
    for part in ("inputs", "given"):
        (new / part).mkdir(parents=True)
    with quiet_base() as base:
        for table in INPUTS:
            write_exact(base, table, run.inputs.get(table, empty_table(table)), new / "inputs")
        for table, columns in GIVEN.items():
            frame = run.tables[table]
            if table == "findings":
                frame = frame[frame["stage"] == "history"]
            write_exact(base, table, frame, new / "given", columns)
    kept = {
        part: {p.stem: file_digest(p) for p in sorted((new / part).iterdir())}
        for part in ("inputs", "given")
    }
    folder = f"{name}_{digest_of(json.dumps(kept, sort_keys=True), length=12)}"
    about = {
        "format": FORMAT, "fleet": fleet.name, "as_of": f"{as_of:%Y-%m-%d}", "folder": folder,
        "settings": run.settings.model_dump(mode="json", exclude_unset=True, by_alias=True),
        "code_digest": code_digest(), "versions": versions(), "tables": run.digests,
        "accounts": run.accounts, "before": run.before, **kept,
    }  # fmt: skip
    if _is_whole(history / folder, kept):  # named by its content, so it is the same
        shutil.rmtree(new)
    else:
        if (history / folder).exists():
            shutil.rmtree(history / folder)  # damaged since
        new.rename(history / folder)
    path = history / f"{name}.json"
    write_whole(path, json.dumps(about, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    own = re.compile(re.escape(name) + "_[0-9a-f]{12}")
    for left in history.iterdir():  # the month it replaced, and what a killed run left
        if own.fullmatch(left.name) and left.name != folder:
            shutil.rmtree(left, ignore_errors=True)
    return Snapshot(path, about)


def _is_whole(folder: Path, kept: dict[str, dict[str, str]]) -> bool:
    """Whether the folder still holds what it was kept with."""
    return all(
        (path := folder / part / f"{name}.parquet").is_file() and file_digest(path) == digest
        for part, files in kept.items()
        for name, digest in files.items()
    )


def slug_of(fleet: str) -> str:
    """Name of a fleet as part of a file's name."""
    return re.sub(r"[^\w-]+", "-", fleet.casefold()).strip("-") or "fleet"
