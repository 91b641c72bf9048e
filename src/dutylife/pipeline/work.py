"""What a run has made so far, whom it tells, and what it gives back."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.pipeline.memory import give_back
from dutylife.reports import FailedSection
from dutylife.schema import as_table

Progress = Callable[[str], None]
AfterStage = Callable[[str, dict[str, pd.DataFrame]], dict[str, pd.DataFrame]]


@dataclass(frozen=True, slots=True)
class RunResult:
    """A finished run: where it is, its tables, and whether a person is needed."""

    folder: Path
    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]
    failed: tuple[FailedSection, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 done; 1 done, but a row can't be read, a finding asks or a section is missing."""
        return 1 if self.info["person_needed"] or self.failed else 0

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        i = self.info
        lines = [
            f"{i['fleet']['name']}, as of {i['as_of']}",
            f"  rows in {i['rows_in']} = used {i['rows_used']} + set aside {i['rows_set_aside']}",
        ]
        if i["person_needed"]:
            lines += [f"  a person is needed: {why}" for why in i["person_needed"]]
        lines += [f"  {one.text}" for one in self.failed]
        return "\n".join([*lines, *(f"  {line}" for line in i["answers"]), f"  in {self.folder}"])


@dataclass(slots=True)
class Work:
    """Tables made so far, seconds each stage took, and whom to tell."""

    progress: Progress
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    findings: list[pd.DataFrame] = field(default_factory=list)
    after: AfterStage | None = None

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Tell that a stage begins, and keep how long it took."""
        self.progress(name)
        start = time.perf_counter()
        yield
        if self.after is not None:
            self.tables |= self.after(name, self.tables)
        give_back()
        self.seconds[name] = round(time.perf_counter() - start, 3)

    def take(self, made: dict[str, pd.DataFrame]) -> None:
        """Take up the tables of a stage; its findings are gathered."""
        found = made.pop("findings", None)
        if found is not None:
            self.findings.append(found)
        self.tables |= made


def live_progress() -> Progress:
    """Show each step in one changing line of a live notebook; elsewhere stay silent."""
    shell = sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None
    if shell is None or not hasattr(shell, "kernel"):
        return lambda _: None
    from IPython.display import display

    handle: Any = display({"text/plain": "dutylife"}, raw=True, display_id=True)  # type: ignore[no-untyped-call]
    return lambda step: handle.update({"text/plain": f"dutylife: {step}"}, raw=True)


def all_findings(found: list[pd.DataFrame]) -> pd.DataFrame:
    """Return findings of all stages as one table."""
    rows = [f.astype("object") for f in found if len(f)]
    return as_table("findings", pd.concat(rows) if rows else pd.DataFrame())
