"""A fault planted between the stages is seen: its score is clearly worse on the same fleets."""

import pandas as pd
import pytest
from joblib import Parallel, delayed

from dutylife.prove.figures import figures_of
from dutylife.prove.fleet import run_fleet
from dutylife.prove.jobs import Job, fleet_seed
from dutylife.prove.plants import PLANTS
from dutylife.prove.verdicts import verdicts_of

# minutes: fourteen fleets and two small proofs
pytestmark = pytest.mark.slow

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


@pytest.fixture(scope="module")
def verdicts():
    """Answer of each aim by planted fault, "" for none, on the same eight fleets of two sizes."""
    jobs = [
        Job(kind="difficulty", case=f"{n_units} machines, {years:g} years", number=i,
            n_units=n_units, n_years=years, seed=fleet_seed(20260101, i), plant=plant)
        for plant in ("", *PLANTS)
        for n_units, years in ((30, 2.0), (100, 4.0))
        for i in range(8)
    ]  # fmt: skip
    results = Parallel(n_jobs=2)(delayed(run_fleet)(job) for job in jobs)
    found = {}
    for plant in ("", *PLANTS):
        of_plant = [(r["job"], r["scores"]) for r in results if r["job"]["plant"] == plant]
        # judged as sizes, though the oracle was left out for the time it takes
        fleets = [
            {"fleet": str(i), "fleet_kind": "size", "case": job["case"], "seed": job["seed"]}
            for i, (job, _) in enumerate(of_plant)
        ]
        scores = [row | {"fleet": str(i)} for i, (_, rows) in enumerate(of_plant) for row in rows]
        rows = verdicts_of(figures_of(pd.DataFrame(fleets), pd.DataFrame(scores)))
        found[plant] = rows.set_index(["case", "measure", "among"])[["answer", "figure"]]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("plant", sorted(PLANTS))
def test_a_planted_fault_turns_a_verdict_to_not_met(verdicts, plant):
    sound, spoiled = verdicts[""], verdicts[plant]
    turned = (sound["answer"] == "met") & (spoiled["answer"] == "not met")
    told = sound[turned].join(spoiled[turned], lsuffix=" without", rsuffix=" with")
    print(f"\n{plant}\n{told.to_string()}")
    assert turned.any()
