"""The main job on the demo, as its readers meet it: exit 0, pages, tables, same bytes again."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from leaks import leaked, tokens_in

import dutylife as dl
from dutylife.reports import write_pages

SHOWN = ("ignition cap", "carburetor", "air filter")


def test_everything_promised_is_there(demo_folder: Path):
    names = {p.name for p in demo_folder.iterdir()}
    assert {
        "stock.html", "maintenance.html", "evidence.html", "wall-cards.html", "order-list.xlsx",
        "maintenance-calendar.ics", "tables", "run.json",
    } <= names  # fmt: skip
    tables = demo_folder / "tables"
    assert {p.stem for p in tables.glob("*.csv")} == {p.stem for p in tables.glob("*.parquet")}


def test_rows_in_equal_used_plus_set_aside(demo_folder: Path):
    info = dl.open_run(demo_folder).info
    assert info["rows_in"] == info["rows_used"] + info["rows_set_aside"] > 0
    assert all(i["n_rows"] == i["n_used"] + i["n_set_aside"] for i in info["inputs"])


@pytest.mark.parametrize("component", SHOWN)
def test_intervals_for_what_fails_again_and_again(demo_folder: Path, component: str):
    rows = dl.open_run(demo_folder).table("intervals")
    rows = rows[rows["component"] == component]
    looks = rows[rows["task"].isin(["inspect", "measure", "clean", "test"])]
    changes = rows[rows["task"].isin(["replace", "run to failure"])]
    assert looks["duty"].nunique() >= 3
    assert changes["duty"].nunique() >= 3
    timed = rows[rows["task"] != "run to failure"]
    assert timed[["interval_hours", "interval_days"]].notna().all(axis=None)
    assert rows["basis"].notna().all()
    assert rows["n_failed"].sum() > 0


def test_what_can_hurt_is_never_run_to_failure(demo_folder: Path):
    rows = dl.open_run(demo_folder).table("intervals")
    hurting = rows[rows["can_hurt"].notna()]
    assert len(hurting)
    assert (hurting["task"] != "run to failure").all()


def test_parquet_holds_what_the_csv_holds(demo_folder: Path):
    import duckdb

    for path in sorted((demo_folder / "tables").glob("*.csv")):
        with duckdb.connect() as base:
            n_rows = base.execute(
                "select count(*) from read_parquet(?)", [str(path.with_suffix(".parquet"))]
            ).fetchone()
        assert n_rows == (len(dl.open_run(demo_folder).table(path.stem)),), path.stem


@pytest.mark.slow
def test_run_again_in_its_place_gives_the_same_bytes(
    demo_home: Path, demo_folder: Path, tmp_path: Path
):
    """As a person does it: no --out, again in the same folder; tables to the byte."""
    home = shutil.copytree(demo_home, tmp_path / "home")
    (again,) = (home / "reports").glob("*/2025-12-31")
    old = (again / "run.json").stat().st_ino
    done = subprocess.run(
        [sys.executable, "-m", "dutylife.cli", "demo"],
        cwd=home, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (again / "run.json").stat().st_ino != old, "nothing was written anew"
    first = {p.name: p.read_bytes() for p in (demo_folder / "tables").iterdir()}
    second = {p.name: p.read_bytes() for p in (again / "tables").iterdir()}
    assert first.keys() == second.keys()
    assert [n for n in first if first[n] != second[n]] == []
    for name in ("order-list.xlsx", "maintenance-calendar.ics"):
        assert (demo_folder / name).read_bytes() == (again / name).read_bytes()


def test_making_pages_does_not_move_the_process(
    demo_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Two pages are made at once: neither may change the working folder under the other."""
    import os

    here = Path.cwd()

    def refused(path: str) -> None:
        assert Path(path).resolve() == here, f"moved to {path}"

    copy = shutil.copytree(demo_folder, tmp_path / "copy")
    monkeypatch.setattr(os, "chdir", refused)
    assert len(write_pages(copy)) == 3


def test_each_customer_gets_a_pack_that_holds_nothing_of_another(demo_folder: Path):
    run = dl.open_run(demo_folder)
    lines = run.table("service_lines").astype({"customer": "object", "unit_id": "object"})
    tasks = run.table("machine_tasks").astype({"customer": "object", "unit_id": "object"})
    here = set(tasks["customer"].dropna())
    packs = {p.name: p for p in (demo_folder / "customers").iterdir()}
    assert set(packs) == here  # the demo's names are plain ones
    for customer, pack in packs.items():
        files = sorted(p for p in pack.rglob("*") if p.is_file())
        assert len(files) == 3
        own = lines[lines["customer"] == customer]
        others = lines[lines["customer"] != customer]
        ids = set(others["unit_id"].dropna()) | set(others["ticket"].dropna())
        ids -= set(own["unit_id"]) | set(own["ticket"])
        names = set(lines["customer"].dropna()) - {customer}
        for path in files:
            assert tokens_in(path) & ids == set(), path
            assert leaked(path, sorted(names)) == [], path
        units = set(tasks.loc[tasks["customer"] == customer, "unit_id"])
        assert units <= tokens_in(pack / "wall-cards.html")


def test_a_pack_shows_no_money_of_the_shop(demo_folder: Path):
    run = dl.open_run(demo_folder)
    compared = run.table("plan_comparison").astype({"customer": "object", "payer": "object"})
    shop = compared[(compared["payer"] == "shop") & compared["customer"].notna()]
    assert len(shop)
    for row in shop.itertuples():
        page = (demo_folder / "customers" / row.customer / "maintenance.html").read_text("utf-8")
        told = f"{row.cost_per_year:,.0f}".replace(",", "\u202f")
        # a meter may read the same figure
        in_money = re.findall(r'data-label="[^"]*crowns[^"]*"><span>([^<]*)<', page)
        assert told not in in_money
        assert f"{told} crowns" not in page
        assert "purchase" not in page
