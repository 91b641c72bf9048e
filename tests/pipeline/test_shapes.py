"""One fleet in every shape: drafted, never edited, each gives the failures of the plain one."""

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.draft import draft_settings, write_draft
from dutylife.intake import account, read_exports
from dutylife.lives import build_lives
from dutylife.pipeline import run
from dutylife.practice import make_practice
from dutylife.practice.shapes import SHAPES
from dutylife.settings import read_settings

FLEET = {"n_units": 20, "n_years": 1.5, "seed": 5}
BESIDE = {"laws", "lives", "demand", "readme", "settings", "contracts"}
DRAFTED = [name for name, shape in SHAPES.items() if shape.form is None]
# the others take as long and go through the same ways: run by hand
QUICK = {"workbook", "sql-dump", "lines"}


def quick_ones(names: list[str]) -> list[Any]:
    return [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in names]


def failure_events(settings: Path, as_of: dt.date | None = None) -> pd.DataFrame:
    given = read_settings(settings)
    fleet = given.fleet.model_copy(update={"as_of": as_of or given.fleet.as_of})
    given = given.model_copy(update={"fleet": fleet})
    read = read_exports(given)
    account(read)
    given = given.model_copy(update={"fleet": fleet.model_copy(update={"as_of": read.as_of})})
    t = dict(read.tables)
    t |= code_lines(t["service_lines"], t["units"], t["shelf"], given)
    lived = build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], given
    )
    return lived["failure_events"]


def exports_of(paths: dict[str, Path]) -> list[Path]:
    return [path for name, path in paths.items() if name not in BESIDE]


def drafted(paths: dict[str, Path], folder: Path) -> tuple[Path, tuple[str, ...]]:
    draft = draft_settings(exports_of(paths), folder)
    write_draft(draft, folder / "dutylife.toml", replace=True)
    return folder / "dutylife.toml", draft.questions


@pytest.fixture(scope="module")
def plain_settings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_practice(tmp_path_factory.mktemp("plain"), **FLEET)["settings"]


@pytest.fixture(scope="module")
def plain(plain_settings: Path) -> pd.DataFrame:
    events = failure_events(plain_settings)
    assert len(events) > 150
    assert (events["event"] == "failed").sum() > 20
    return events


@pytest.mark.parametrize("shape", quick_ones(DRAFTED))
def test_every_shape_gives_the_same_failures(shape: str, plain: pd.DataFrame, tmp_path: Path):
    settings, questions = drafted(make_practice(tmp_path, **FLEET, shape=shape), tmp_path)
    assert questions == ()
    pd.testing.assert_frame_equal(failure_events(settings), plain)


@pytest.mark.parametrize("shape", quick_ones([n for n in SHAPES if n not in DRAFTED]))
def test_and_where_no_column_has_the_duty_once_it_is_confirmed(
    shape: str, plain: pd.DataFrame, tmp_path: Path
):
    paths = make_practice(tmp_path, **FLEET, shape=shape)
    stated = read_settings(paths["settings"]).duty.by_customer
    settings, questions = drafted(paths, tmp_path)
    assert questions == ()
    with (tmp_path / "duty.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {row["customer"] for row in rows} >= set(plain["customer"].dropna())
    with (tmp_path / "duty.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.DictWriter(file, list(rows[0]))
        out.writeheader()
        for row in rows:
            duty = stated.get(row["customer"], row["duty"])
            out.writerow({**row, "duty": duty, "confirmed": "yes"})
    pd.testing.assert_frame_equal(failure_events(settings), plain)


@pytest.mark.slow
def test_a_difficult_fleet_too(tmp_path: Path):
    """Credits, files that overlap, faulty meters and machines that move, in two unlike shapes."""
    fleet = {
        "n_units": 12, "n_years": 1.5, "seed": 11,
        "difficulties": {"returns": 1.0, "reissued_files": 0.5, "meter_faults": 1.0},
    }  # fmt: skip
    plain_settings = make_practice(tmp_path / "plain", **fleet)["settings"]
    # the last day of the record is no day of work here: no export can say it
    as_of = read_settings(plain_settings).fleet.as_of
    expected = failure_events(plain_settings)
    for shape in ("nested-json", "blank-below"):
        paths = make_practice(tmp_path / shape, **fleet, shape=shape)
        settings, questions = drafted(paths, tmp_path / shape)
        assert questions == ()
        pd.testing.assert_frame_equal(failure_events(settings, as_of), expected)


@pytest.mark.slow
def test_a_whole_run_of_a_drafted_workbook(plain_settings: Path, tmp_path: Path):
    settings, _ = drafted(make_practice(tmp_path, **FLEET, shape="workbook"), tmp_path)
    tables = [
        run(file, out=tmp_path / f"run {n}").tables["failure_events"]
        for n, file in enumerate((settings, plain_settings))
    ]
    pd.testing.assert_frame_equal(tables[0], tables[1])
