"""The run that is shown under pseudonyms, and folders that hold no mixture of both kinds."""

import json
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import privacy
from dutylife.errors import RunError
from dutylife.pipeline.record import info_of
from dutylife.pipeline.work import Work
from dutylife.run_folder import MARKER, claimed
from dutylife.settings import Settings


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Settings as a shared run shows them so far, and the key."""

    given: Settings
    settings: Settings
    key: bytes

    @classmethod
    def of(cls, settings: Settings, history: Path, work: Work) -> "Shown":
        """Take the key of the history, or make one.

        Raises
        ------
        RunError
            The key can't be used.
        """
        key, where = privacy.key_in(history)
        work.progress(f"pseudonyms by the key in {where}: keep it, and give it to nobody")
        names = privacy.Pseudonyms(key)
        return cls(settings, privacy.anonymous_settings(settings, names), key)

    def told(
        self, tables: dict[str, pd.DataFrame], info: dict[str, Any]
    ) -> tuple[dict[str, pd.DataFrame], Settings, dict[str, Any]]:
        """Tables, settings and content of run.json under pseudonyms."""
        names = privacy.pseudonyms_for(tables, self.given, self.key)
        settings = privacy.anonymous_settings(self.given, names)
        shown = privacy.anonymous_tables(tables, names)
        again = info_of(settings, info["inputs"], shown)
        beside = {k: info[k] for k in ("earlier_run", "history", "settings_digest") if k in info}
        return shown, settings, privacy.anonymous_info(again | beside, names)


def claim(held: ExitStack, folder: Path, *, anonymised: bool) -> None:
    """Hold a run's folder until the run ends; one kind of run never takes the other's place.

    Raises
    ------
    RunError
        Another run is at work in it, or a run of the other kind stands there.
    """
    held.enter_context(claimed(folder))
    marker = folder / MARKER
    if not marker.is_file():
        return
    try:
        there = bool(json.loads(marker.read_text(encoding="utf-8")).get("anonymised"))
    except (ValueError, AttributeError):
        return  # broken: it is replaced
    if there != anonymised:
        what = "under pseudonyms" if there else "with real names"
        raise RunError(
            f"The folder holds a run {what}.", str(folder),
            "give another --out, so that nobody takes the one for the other",
        )  # fmt: skip
