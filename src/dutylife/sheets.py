"""One machine's sheet: from a finished run of these settings, or from one made now."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.disk import in_our_words, removed
from dutylife.intake import same_exports
from dutylife.pipeline import fleet_folder, run
from dutylife.provenance import code_digest, digest_of, open_run
from dutylife.reports.sheet import SheetPage, machine_sheet, write_sheet
from dutylife.run_folder import MARKER, write_tables
from dutylife.settings import Settings, read_settings


@dataclass(frozen=True, slots=True)
class SheetResult:
    """A written sheet, the run it is from, and sections that failed."""

    page: SheetPage
    folder: Path
    table: pd.DataFrame | None
    unit_id: str

    @property
    def exit_code(self) -> int:
        """0 done; 1 done, but a section could not be made."""
        return 1 if self.page.failed else 0

    @property
    def text(self) -> str:
        """Which machine, what to check first, and where the page is."""
        lines = [f"Machine {self.unit_id}", *([self.page.answer] if self.page.answer else [])]
        lines += [f"  the section '{name}' could not be made" for name in self.page.failed]
        return "\n".join([*lines, f"  in {self.page.path}"])


def sheet(
    settings: str | Path | Settings,
    unit_id: str,
    complaint: str = "",
    already: Sequence[str] = (),
    *,
    run_folder: str | Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> SheetResult:
    """Write the sheet of one machine into the folder of its run.

    Parameters
    ----------
    settings : path or Settings
    unit_id : str
    complaint : str
        What the customer says is wrong.
    already : sequence of str
        Components already changed or found in order.
    run_folder : path, optional
        A finished run. When not given the latest one of these settings in their default folder,
        if the exports are unchanged, else a run made now.
    progress : callable, optional
        Called with each step's name.

    Returns
    -------
    SheetResult
        The page is DIR/sheet-UNIT.html; its causes also stand in DIR/tables/likely_causes.csv.

    Raises
    ------
    DutylifeError
        The settings, exports or run can't be used, or the machine or a component is not known;
        nothing is written.
    """
    tell = progress or (lambda _: None)
    given = settings if isinstance(settings, Settings) else read_settings(settings)
    folder = Path(run_folder).resolve() if run_folder else finished_run(given)
    if folder is None:
        tell("no finished run of these settings and exports: one is made now")
        folder = run(given, progress=progress).folder
    opened = open_run(folder)
    as_of = pd.Timestamp(opened.info["as_of"]).date()
    given = _as_of(given, as_of)
    tell(f"sheet from the run up to {as_of.isoformat()} in {folder.name}")
    of_machine = machine_sheet(opened, unit_id, complaint, already, settings=given)
    page = write_sheet(of_machine)
    table = None if "check first" in page.failed else of_machine.causes.table
    if table is not None:
        with in_our_words(folder):
            aside = folder / "tables.new"
            removed(aside)
            write_tables({"likely_causes": table}, aside)
            for path in sorted(aside.iterdir()):
                path.replace(folder / "tables" / path.name)
            aside.rmdir()
    return SheetResult(page, folder, table, unit_id)


def finished_run(settings: Settings) -> Path | None:
    """Latest run folder of these settings in their default place whose exports are unchanged.

    Raises
    ------
    SettingsError, ExportError
        An export is missing or can't be read.
    """
    found: list[tuple[str, Path]] = []
    for marker in fleet_folder(settings).glob(f"*/{MARKER}"):
        info: dict[str, Any] = json.loads(marker.read_text(encoding="utf-8"))
        as_of = pd.Timestamp(info["as_of"]).date()
        if settings.fleet.as_of not in (None, as_of):
            continue
        if info.get("code_digest") != code_digest():
            continue  # another version would say it otherwise
        if info["settings_digest"] != _digest(_as_of(settings, as_of)):
            continue
        digests = {str(i["digest"]) for i in info["inputs"]}
        if same_exports(settings, digests, marker.stat().st_mtime):
            found.append((str(info["as_of"]), marker.parent.resolve()))
    return max(found)[1] if found else None


def _digest(settings: Settings) -> str:
    return digest_of(settings.model_dump_json(), length=64)


def _as_of(settings: Settings, as_of: Any) -> Settings:
    fleet = settings.fleet.model_copy(update={"as_of": as_of})
    return settings.model_copy(update={"fleet": fleet})
