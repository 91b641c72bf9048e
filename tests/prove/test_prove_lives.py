"""The failure-event table against true lives: what is right is told right, a plant is found."""

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import DutylifeError
from dutylife.prove import LivesProof, prove_lives

SMALL = {"n_fleets": 2, "n_units": 40, "n_years": 3.0, "seed": 5}


def law(proof: LivesProof, method: str, clock: str = "both") -> pd.Series:
    laws = proof.tables["prove_lives_laws"]
    return laws[(laws["method"] == method) & (laws["clock"] == clock)].iloc[0]


def any_source(proof: LivesProof) -> pd.Series:
    found = proof.tables["prove_lives_found"]
    return found[found["clock_source"] == "any"].iloc[0]


@pytest.fixture(scope="module")
def plain() -> LivesProof:
    return prove_lives(wanted=("none",), **SMALL)


def test_a_clean_record_gives_the_true_lives(plain: LivesProof) -> None:
    found = any_source(plain)
    assert found["share_found"] > 0.99
    assert found["share_right_end"] > 0.99
    assert found["error_days_median"] <= 1.0
    # of the same fleets, so that chance is in both
    ours, true = law(plain, "table"), law(plain, "true lives")
    assert ours["scale_ratio"] / true["scale_ratio"] == pytest.approx(1.0, abs=0.02)
    assert ours["shape_ratio"] / true["shape_ratio"] == pytest.approx(1.0, abs=0.03)


def gone_counted_on(table: pd.DataFrame) -> pd.DataFrame:
    running = table["event"].isin(["running", "lost"])
    twice = {c: table[c].mask(running, 2 * table[c]) for c in ("exit_days", "exit_hours")}
    return table.assign(**twice)


def ends_moved(table: pd.DataFrame) -> pd.DataFrame:
    return table.assign(ended_on=table["ended_on"] + pd.Timedelta(days=40))


def ends_misnamed(table: pd.DataFrame) -> pd.DataFrame:
    other = np.arange(len(table)) % 5 == 0
    return table.assign(event=table["event"].astype("object").mask(other, "replaced"))


@pytest.mark.slow
def test_planted_faults_are_found(plain: LivesProof) -> None:
    on = prove_lives(wanted=("none",), plant=gone_counted_on, **SMALL)
    assert law(on, "table")["scale_ratio"] > 1.1 * law(plain, "table")["scale_ratio"]
    moved = prove_lives(wanted=("none",), plant=ends_moved, **SMALL)
    assert any_source(moved)["share_found"] < 0.7
    named = prove_lives(wanted=("none",), plant=ends_misnamed, **SMALL)
    assert any_source(named)["share_right_end"] < 0.9


def test_naive_rules_are_told_apart() -> None:
    proof = prove_lives(wanted=("silent_leavers",), **SMALL)
    true = law(proof, "true lives")["scale_ratio"]
    assert law(proof, "counted to the export date")["scale_ratio"] > 1.05 * true
    assert law(proof, "ended at last visit")["scale_ratio"] < law(proof, "table")["scale_ratio"]
    presence = proof.tables["prove_lives_presence"]
    low, high = presence["believed"] < 0.2, presence["believed"] > 0.8
    assert presence.loc[low, "there"].max() < 0.5 < presence.loc[high, "there"].min()


def test_a_case_that_is_none_is_refused() -> None:
    with pytest.raises(DutylifeError, match="leavers"):
        prove_lives(wanted=("leavers",), n_fleets=1)
