"""A fault planted between the stages is seen: its score is clearly worse on the same fleets."""

import pandas as pd
import pytest
from joblib import Parallel, delayed

from dutylife.prove.fleet import run_fleet
from dutylife.prove.jobs import Job, fleet_seed
from dutylife.prove.plants import PLANTS

N_FLEETS = 2
# the score each fault has to spoil: measure, among, by how much and which way
SPOILS = {
    "delayed entry ignored": ("shape covered", "all", -0.15),
    "replaced counted as failed": ("scale log ratio", "all", -0.08),
    "quantiles shifted by one month": ("under p95", "all", -0.05),
    "survivors dropped": ("scale covered", "all", -0.15),
    "duty labels shuffled": ("money lost", "all", 0.03),
    "leavers kept to the last day": ("scale log ratio", "all", 0.04),
}


@pytest.fixture(scope="module")
def figures():
    """Our figures by planted fault, "" for none."""
    jobs = [
        Job(kind="difficulty", case="60 machines, 3 years", number=i, n_units=60, n_years=3.0,
            seed=fleet_seed(20260101, i), plant=plant)
        for plant in ("", *PLANTS)
        for i in range(N_FLEETS)
    ]  # fmt: skip
    results = Parallel(n_jobs=2)(delayed(run_fleet)(job) for job in jobs)
    rows = [
        row | {"plant": result["job"]["plant"]}
        for result in results
        for row in result["scores"]
        if row["method"] == "dutylife"
    ]
    sums = pd.DataFrame(rows).groupby(["plant", "measure", "among"])[["total", "base"]].sum()
    return sums["total"] / sums["base"]


def test_every_fault_has_a_score_it_must_spoil():
    assert set(SPOILS) == set(PLANTS)
    assert len(PLANTS) >= 5


@pytest.mark.parametrize("plant", sorted(SPOILS))
def test_a_planted_fault_spoils_its_score(figures, plant):
    measure, among, by = SPOILS[plant]
    moved = figures[plant, measure, among] - figures["", measure, among]
    assert moved / by > 1.0, f"{measure}: moved by {moved:.3f}, {by} asked for"


def test_a_page_with_a_planted_fault_says_so_and_is_not_met(tiny, tmp_path):
    from dutylife.prove import prove

    plant = "quantiles shifted by one month"
    bad = prove(tmp_path / "bad", seed=3, workers=2, plant=plant)
    page = (bad.folder / "prove.html").read_text(encoding="utf-8")
    assert f"A fault was planted on purpose: {plant}" in page
    assert "under p95" in set(bad.not_met["measure"])
