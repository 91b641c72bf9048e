"""Two public histories through the same `dutylife run` as any shop's, against their known answers.

Sources: tests/real/README.md. The converters only reshape; nothing derived by others is read.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import dutylife as dl

pytestmark = pytest.mark.shared
HERE = Path(__file__).parent


def run_history(which: str, shared: Path, folder: Path) -> "dl.provenance.Run":
    convert = [sys.executable, str(HERE / "convert.py"), which, str(shared / "data"), str(folder)]
    subprocess.run(convert, check=True, capture_output=True)
    done = subprocess.run(
        [sys.executable, "-m", "dutylife.cli", "run", str(folder / "dutylife.toml"),
         "--out", str(folder / "out")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    return dl.open_run(folder / "out")


@pytest.fixture(scope="module")
def excavator(shared: Path, tmp_path_factory: pytest.TempPathFactory):
    return run_history("excavator", shared, tmp_path_factory.mktemp("excavator"))


@pytest.fixture(scope="module")
def bus(shared: Path, tmp_path_factory: pytest.TempPathFactory):
    return run_history("bus", shared, tmp_path_factory.mktemp("bus"))


@pytest.mark.slow
def test_hose_orders_recur_as_published(excavator):
    gaps = excavator.table("recurrence_gaps")
    hose = gaps[gaps["component"] == "hose"]
    assert (len(hose), int(hose["is_event"].sum())) == (361, 356)
    curve = dl.kaplan_meier(hose["gap_days"], hose["is_event"])
    assert curve.median() == 17
    assert curve.survival_at([30])[0] == pytest.approx(0.282, abs=5e-4)


@pytest.mark.slow
def test_the_page_says_why_lives_differ_from_gaps(excavator):
    page = (excavator.folder / "evidence.html").read_text(encoding="utf-8")
    assert "every event counts" in page
    reasons = ("comebacks within 30 days", "first lives without an install date", "planned changes")
    for why in reasons:
        assert why in page


@pytest.mark.slow
def test_all_orders_are_accounted_for(excavator):
    info = excavator.info
    assert info["rows_in"] == 5485
    assert info["rows_in"] == info["rows_used"] + info["rows_set_aside"]


@pytest.mark.slow
def test_bus_engines_with_and_without_delayed_entry(bus):
    law = bus.table("life_models").set_index(["component", "duty"]).loc[("engine", "a452372")]
    lives = bus.table("failure_events")
    group = lives[(lives["duty"] == "a452372") & (lives["component"] == "engine")]
    known = group[group["exit_hours"] > group["entry_hours"]]
    alone = dl.fit_law(
        "weibull", known["exit_hours"], known["event"] == "failed", entry=known["entry_hours"]
    )
    assert round(alone.shape, 2) == 4.07
    assert alone.scale == pytest.approx(196_030, rel=5e-4)
    # the run's law leans a little on the other groups and on the weak prior
    assert law["clock"] == "hours"
    assert law["shape_lower"] < 4.07 < law["shape_upper"]
    assert law["scale_hours_lower"] < 196_030 < law["scale_hours_upper"]
    assert law["scale_hours"] == pytest.approx(196_030, rel=0.05)
    blind = dl.fit_law("weibull", group["exit_hours"], group["event"] == "failed")
    assert round(blind.shape, 2) == 4.83
    assert blind.scale == pytest.approx(211_902, rel=5e-4)


@pytest.mark.slow
def test_bus_lives_equal_the_spells_others_derived(bus, shared: Path):
    lives = bus.table("failure_events")
    lives = lives[lives["component"] == "engine"]
    spells = pd.read_csv(shared / "data" / "bus_engine_odometer" / "derived" / "engine_spells.csv")
    assert len(lives) == len(spells) == 290
    assert int((lives["event"] == "failed").sum()) == int(spells["event"].sum()) == 124
    for ours, theirs in (("entry_hours", "entry_miles"), ("exit_hours", "exit_miles")):
        np.testing.assert_allclose(
            np.sort(lives[ours].to_numpy()), np.sort(spells[theirs].to_numpy()), atol=0.6
        )
