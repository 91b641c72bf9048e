"""The proof of replacement ages: what it counts is what it says, and its page says it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dutylife.cli import main
from dutylife.decisions.age import age_replacement
from dutylife.decisions.life import known_life
from dutylife.errors import DutylifeError
from dutylife.prove import prove_money
from dutylife.prove.models_alone.made import Law
from dutylife.prove.money_alone import cells

LAWS = [
    Law(float(np.log(k)), float(np.log(s))) for k, s in ((2.0, 400.0), (3.5, 90.0), (1.4, 50.0))
]


def test_money_lost_is_true_cost_over_the_least_one():
    """Against the general solver, which knows nothing of tables."""
    ages = np.array([300.0, 90.0, np.inf])
    lost = cells.money_lost(LAWS, ages)
    for law, age, found in zip(LAWS, ages, lost, strict=True):
        life = known_life("weibull", shape=law.figure("shape"), scale=law.figure("scale"))
        best = age_replacement(
            life, planned_cost=1.0, failure_cost=cells.COST_RATIO,
            ages=[age if np.isfinite(age) else 1.0],
        )  # fmt: skip
        cost = best.cost_rates[0] if np.isfinite(age) else best.cost_rate_run_to_failure
        assert found == pytest.approx(cost / best.cost_rate - 1, rel=1e-4)


def test_half_of_the_lives_are_cut_off_in_both_cases():
    for case in cells.CASES:
        random = np.random.default_rng(3)
        lives = [cells._made(random, case, law, 2000) for law in LAWS]
        assert [c.n_failed for c in lives] == pytest.approx([1000] * 3, rel=0.08)


def test_perfect_knowledge_loses_nothing_and_waiting_what_wear_costs():
    best = np.array([
        age_replacement(known_life("weibull", shape=law.figure("shape"), scale=law.figure("scale")),
                        planned_cost=1.0, failure_cost=cells.COST_RATIO).interval
        for law in LAWS
    ])  # fmt: skip
    assert cells.money_lost(LAWS, best) == pytest.approx(np.zeros(3), abs=1e-6)
    # shape 2 at ratio 5: waiting costs 1.386 times the best (DOMAIN 9.4 gives a saving of 28 %)
    assert cells.money_lost(LAWS, np.full(3, np.inf))[0] == pytest.approx(1 / 0.72 - 1, abs=0.01)


@pytest.fixture(scope="module")
def proof(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    patch = pytest.MonkeyPatch()
    patch.setattr("dutylife.prove.money_alone.truth.SIZES", (5,))
    out = tmp_path_factory.mktemp("proof")
    result = CliRunner().invoke(main, ["prove", "--money", "--cells", "16", "--out", str(out)])
    patch.undo()
    assert result.exit_code == 0, result.output
    return out / "money", result.output


def test_the_table_has_every_rule_and_the_page_its_aims(proof: tuple[Path, str]):
    folder, told = proof
    table = pd.read_csv(folder / "prove_money.csv")
    assert set(table["rule"]) == set(cells.RULES)
    assert set(table["case"]) == set(cells.CASES)
    assert (table["n_cells"] == 16).all()
    assert (table["money_lost"] >= -1e-9).all()
    aimed = table[table["rule"] == cells.OURS]
    assert (aimed["aim_most"] == 0.03).all()
    assert (table.loc[table["rule"] != cells.OURS, "answer"] == "no aim").all()
    page = (folder / "money.html").read_text(encoding="utf-8")
    assert "perfect knowledge" in page
    assert "of 2 aims are met" in page
    for rule in cells.RULES:
        assert rule.replace(" %", "\u00a0%") in page
    assert "run to failure" in told


def test_the_same_seed_gives_the_same_rows():
    job = cells.MoneyJob(cells.STRETCHES, 5, 1, (1, 2))
    assert cells.money_rows(job) == cells.money_rows(job)


def test_too_few_cells_are_refused():
    with pytest.raises(DutylifeError, match="16 cells or more"):
        prove_money(n_cells=8)


@pytest.mark.slow
def test_pooled_ages_lose_less_than_cells_by_themselves():
    """At 5 failures, 320 cells; run to failure loses many times as much."""
    rows = {
        r["rule"]: r["money_lost"]
        for r in cells.money_rows(cells.MoneyJob(cells.STRETCHES, 5, 40, (20260101, 7, 5)))
    }
    assert rows[cells.OURS] < 0.9 * rows[cells.OWN]
    assert rows[cells.OURS] < 0.05
    assert rows[cells.NEVER] > 0.3
    # the gate of the run costs next to nothing beside taking every age that seems to pay
    assert rows[cells.OURS] < rows[cells.OPEN] + 0.005
