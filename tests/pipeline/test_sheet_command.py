"""`dutylife sheet`: the latest finished run answers at once; what is not known is named."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from dutylife import sheets
from dutylife.cli import main
from dutylife.pipeline import fleet_folder
from dutylife.provenance import shipped_folder
from dutylife.settings import read_settings


@pytest.fixture(scope="module")
def run(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's run, for pages to be written into."""
    return shutil.copytree(demo_folder, tmp_path_factory.mktemp("sheet") / "run")


def ask(*more: str) -> tuple[int, str]:
    settings = shipped_folder("data_demo") / "dutylife.toml"
    done = CliRunner().invoke(main, ["sheet", str(settings), *more])
    return done.exit_code, done.output


def test_a_sheet_from_a_given_run(run: Path):
    code, said = ask("--unit", "TA-001", "--complaint", "no spark", "--run", str(run))
    assert code == 0, said
    assert "Check first: ignition cap" in said
    page = (run / "sheet-TA-001.html").read_text(encoding="utf-8")
    assert page.index("Before anyone touches it") < page.index("Check first")
    assert (run / "tables" / "likely_causes.csv").is_file()
    # what is done already comes last, and is to be looked over: nothing else was ever the cause
    code, said = ask(
        "--unit", "TA-001", "--complaint", "no spark", "--run", str(run),
        "--already", "plug cap,spark plug",
    )  # fmt: skip
    assert code == 0
    assert "Check first: ignition cap" not in said
    assert "Look over the work on the ignition cap" in said


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--unit", "TA-01"), "TA-001"),
        (("--unit", "TA-001", "--already", "carburettr"), "carburetor"),
    ],
)
def test_what_is_not_known_is_refused_with_the_nearest(run: Path, more: tuple[str, ...], told: str):
    before = sorted(p.name for p in run.iterdir())
    code, said = ask(*more, "--run", str(run))
    assert code == 2
    assert told in said
    assert sorted(p.name for p in run.iterdir()) == before


def test_the_latest_run_of_the_same_settings_and_exports_is_taken(
    run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    demo = shutil.copytree(shipped_folder("data_demo"), tmp_path / "demo")
    settings = read_settings(demo / "dutylife.toml")
    assert sheets.finished_run(settings) is None
    place = fleet_folder(settings) / "2025-12-31"
    shutil.copytree(run, place)
    assert sheets.finished_run(settings) == place.resolve()
    other = settings.model_copy(
        update={"workshop": settings.workshop.model_copy(update={"labour_rate": 49.0})}
    )
    assert sheets.finished_run(other) is None
    with (demo / "lines.csv").open("a", encoding="utf-8") as lines:
        lines.write(
            "J99999,30/12/2025,repair,TA-001,Kerb Store,,no spark,cap renewed,part,,cap,1,4\n"
        )
    assert sheets.finished_run(settings) is None


def test_without_a_finished_run_one_is_made(
    run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    made: list[str] = []

    class Made:
        folder = run

    def as_if(*_: object, **__: object) -> type[Made]:
        made.append("run")
        return Made

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sheets, "run", as_if)
    code, said = ask("--unit", "SP-001")
    assert (code, made) == (0, ["run"]), said
    assert "No complaint was given" in said
