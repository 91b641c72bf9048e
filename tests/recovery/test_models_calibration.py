"""Lives of known laws by the thousand: ranges hold the law as often as they say, pooling gains."""

import pytest

from dutylife.prove.models_alone.cases import (
    NOT_TOLD,
    STATED,
    TOLD,
    ModelsJob,
    rows_of,
)

SEED = 20260707
CHANCE = 3.0  # standard errors by which chance may miss an aim


def rows(table: str, case: str, failures: int, count: int) -> dict[str, dict]:
    _, found = rows_of(ModelsJob(table, case, failures, count, (SEED, failures)))
    return {row["what"]: row for row in found}


def within(row: dict, least: float, most: float) -> bool:
    margin = CHANCE * row["coverage_se"]
    # a margin wider than the aim would let anything pass
    assert margin < 0.06
    return least - margin <= row["coverage"] <= most + margin


@pytest.mark.slow
@pytest.mark.parametrize(("failures", "least"), [(10, 0.85), (30, 0.88)])
def test_likelihood_ratio_ranges_hold_the_law(failures: int, least: float) -> None:
    for what, row in rows("own", "by themselves", failures, 4000).items():
        assert within(row, least, 0.92), (what, row)
        assert row["coverage_with_open"] >= row["coverage"] - 0.01
        assert row["share_no_failure"] < 0.001


@pytest.mark.slow
def test_cells_of_one_expected_failure_mostly_say_nothing_by_themselves() -> None:
    """Two lives, half cut off: a quarter of the cells has no failure, and says so."""
    found = rows("own", "by themselves", 1, 4000)
    # 0.2 to 0.8 each, even: the square of the mean chance of staying whole
    assert found["b10"]["share_no_failure"] == pytest.approx(0.25, abs=0.025)


@pytest.mark.slow
@pytest.mark.parametrize("failures", [1, 2, 3, 5, 10, 30])
def test_pooled_ranges_hold_laws_of_the_prior_at_every_size(failures: int) -> None:
    for what, row in rows("pooled", STATED, failures, 120).items():
        if what == "factor":  # one pair a component
            assert row["coverage"] > 0.80
        else:
            assert within(row, 0.88, 0.92), (what, row)


@pytest.mark.slow
@pytest.mark.parametrize(("failures", "most"), [(3, 0.65), (10, 1.0), (30, 1.0)])
def test_alike_duties_lend_to_each_other(failures: int, most: float) -> None:
    row = rows("lending", "duties alike", failures, 120)["b10"]
    assert row["error_ratio"] <= most + CHANCE * row["error_ratio_se"]
    assert row["error_ratio_se"] < 0.06


@pytest.mark.slow
def test_a_duty_over_another_where_customers_differ() -> None:
    """Told whose lives they are, 85 to 95 %; not told, well below: the promise would be broken."""
    _, found = rows_of(ModelsJob("factors", "customers differ", 40, 160, (SEED, 40)))
    by = {row["customers"]: row for row in found}
    assert within(by[TOLD], 0.85, 0.95), by[TOLD]
    assert by[NOT_TOLD]["coverage"] < by[TOLD]["coverage"] - 0.03
