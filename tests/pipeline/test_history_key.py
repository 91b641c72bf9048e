"""[report] history: where earlier calendars are; a place that is not there is told at once."""

import datetime as dt
from pathlib import Path

import pytest

from dutylife.earlier_runs import earlier_runs
from dutylife.errors import RunError, SettingsError
from dutylife.pipeline import run_stages
from dutylife.run_folder import write_info, write_tables
from dutylife.schema import empty_table
from dutylife.settings import settings_from


def test_a_history_that_is_not_there_names_its_key(tmp_path: Path):
    settings = settings_from({"report": {"history": "months"}}, tmp_path, "shop.toml")
    with pytest.raises(SettingsError) as error:
        run_stages(settings)
    assert "report.history" in str(error.value)
    assert "months" in str(error.value)


def run_folder(folder: Path, as_of: str, fleet: str = "Depot", *, with_plan: bool = True) -> Path:
    tables = {"visit_plan": empty_table("visit_plan")} if with_plan else {}
    write_tables(tables or {"units": empty_table("units")}, folder / "tables")
    write_info({"as_of": as_of, "fleet": {"name": fleet}}, folder)
    return folder


def test_earlier_runs_of_this_fleet_are_found_the_oldest_first(tmp_path: Path):
    run_folder(tmp_path / "b", "2026-01-31")
    run_folder(tmp_path / "sub" / "a", "2026-02-28")
    run_folder(tmp_path / "c", "2026-03-31")  # the day of this run: not before it
    run_folder(tmp_path / "d", "2026-02-28", "Another")
    run_folder(tmp_path / "e", "2026-02-27", with_plan=False)
    found = earlier_runs(
        [tmp_path, tmp_path / "missing"], "Depot", dt.date(2026, 3, 31), with_table="visit_plan"
    )
    assert [r.run.folder.name for r in found] == ["b", "a"]
    assert len(found[0].digest("visit_plan")) == 64
    one = earlier_runs([tmp_path / "b"], "Depot", dt.date(2026, 3, 31), with_table="visit_plan")
    assert [r.as_of for r in one] == [dt.date(2026, 1, 31)]


def test_an_earlier_run_that_cannot_be_read_is_told_with_its_folder(tmp_path: Path):
    folder = run_folder(tmp_path / "b", "2026-01-31")
    (folder / "run.json").write_text("{", encoding="utf-8")
    with pytest.raises(RunError, match="b/run.json"):
        earlier_runs([tmp_path], "Depot", dt.date(2026, 3, 31), with_table="visit_plan")
