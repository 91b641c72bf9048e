"""The run says where its Weibull law does not hold, and what such lives look like."""

import numpy as np
import pandas as pd
import pytest

from dutylife.models import check_laws, choose_law, law_checks
from dutylife.models.adequacy import Residuals
from dutylife.models.law_checks import _distances, weibull_distance_test
from dutylife.schema import as_table
from dutylife.settings import settings_from

SETTINGS = settings_from({"fleet": {"as_of": "2024-12-31"}})


def cell(duty: str, age: np.ndarray, stop: float) -> pd.DataFrame:
    """Lives of air filters in one duty, in hours, watched to ``stop``."""
    exit_ = np.minimum(age, stop)
    return pd.DataFrame({
        "unit_id": [f"{duty}{i:04d}" for i in range(len(age))], "component": "air filter",
        "duty": duty, "life_number": 1, "spell": 1, "entry_hours": 0.0, "entry_days": 0.0,
        "exit_hours": exit_, "exit_days": exit_ / 2, "age_se_hours": 0.0,
        "event": np.where(age <= stop, "failed", "running"), "weight": 1.0,
        "clock_source": "meter",
    })  # fmt: skip


def checked(*cells: pd.DataFrame) -> pd.DataFrame:
    lives = as_table("failure_events", pd.concat(cells, ignore_index=True))
    return check_laws(lives, SETTINGS).astype({"duty": "object", "weibull": "object"})


def test_laws_that_hold_are_seldom_flagged_and_their_chances_are_even():
    rng = np.random.default_rng(11)
    cells = [cell(f"d{i:03d}", 300 * rng.weibull(rng.uniform(0.8, 3), 40), 320) for i in range(150)]
    found = checked(*cells)
    assert len(found) == 150
    assert found["n_failed"].between(12, 40).all()
    p = found["p_law"]
    # standard error of a share of 150: 2.4 points at 0.1, 4.1 at a half
    assert 0.04 <= (p < 0.1).mean() <= 0.17
    assert 0.38 <= (p < 0.5).mean() <= 0.62
    assert (found["weibull"] == "does not hold").sum() <= 2
    assert found.loc[found["weibull"] == "holds", "verdict"].str.contains("nothing speaks").all()


def test_an_early_lot_is_flagged_and_named():
    rng = np.random.default_rng(4)
    age = 500 * rng.weibull(3, 160)
    age[:40] *= 0.03
    found = checked(cell("mixed", age, 600), cell("plain", 500 * rng.weibull(3, 160), 600))
    row = found.set_index("duty").loc["mixed"]
    assert row["weibull"] == "does not hold"
    assert "fail early" in row["verdict"]
    assert row["share_early"] == pytest.approx(0.25, abs=0.08)
    assert row["early_times_life"] == pytest.approx(0.03, rel=0.4)
    assert found.set_index("duty").loc["plain", "weibull"] == "holds"


def test_lognormal_lives_are_told_as_such_when_there_are_many():
    rng = np.random.default_rng(5)
    found = checked(cell("a", np.exp(5 + 0.8 * rng.standard_normal(400)), 1e6))
    assert found.loc[0, "weibull"] == "does not hold"
    assert "lognormal" in found.loc[0, "laws_alike"]


def test_few_failures_and_failures_between_looks_are_not_tested():
    rng = np.random.default_rng(6)
    few = cell("few", np.r_[200 * rng.weibull(2, 9), np.full(10, 900.0)], 800)
    between = cell("between", 200 * rng.weibull(2, 40), 800)
    between["lower_hours"] = np.where(np.arange(40) < 20, 0.5 * between["exit_hours"], np.nan)
    found = checked(few, between).set_index("duty")
    assert (found["weibull"] == "too few").all()
    assert found["p_law"].isna().all()
    assert "9 failures, 10 are needed" in found.loc["few", "verdict"]
    assert "between two services" in found.loc["between", "verdict"]


def test_distances_of_many_sets_are_those_of_each():
    rng = np.random.default_rng(1)
    entry = np.where(rng.random(40) < 0.3, rng.random(40) * 0.2, 0.0)
    exit_ = np.maximum(rng.exponential(size=(50, 40)), entry + 1e-6)
    exit_[:, :4] = exit_[:, :1]  # ties
    failed = rng.random((50, 40)) < 0.5
    failed[0] = False
    each = [Residuals(exit_[i], entry, failed[i]).distance() for i in range(50)]
    assert _distances(exit_, entry, failed) == pytest.approx(each, abs=1e-10)


def test_the_chance_is_that_of_fits_one_by_one():
    rng = np.random.default_rng(8)
    age = np.r_[300 * rng.weibull(2, 40), 40 * rng.weibull(2, 6)]
    exit_, failed = np.minimum(age, 350), age <= 350
    entry = np.where(np.arange(46) % 4 == 0, 5.0, 0.0)
    exit_ = np.maximum(exit_, entry + 1)
    _, p = weibull_distance_test(exit_, failed, entry, 4000, 3)
    slow = choose_law(exit_, failed, entry=entry, laws=["weibull"], n_simulated=400, seed=2)
    told = slow.table.loc[0]
    assert p == pytest.approx(told["p_value"], abs=3.5 * told["p_value_error"] + 0.01)


def test_no_lives_give_no_rows():
    assert check_laws(as_table("failure_events", pd.DataFrame()), SETTINGS).empty


def test_where_many_pairs_fail_other_laws_are_tried_on_the_worst_and_the_rest_say_so(monkeypatch):
    tried = []

    def looks_like(row, of):
        tried.append((row["duty"], len(of.exit)))
        return {"verdict": "tried"}

    rng = np.random.default_rng(8)
    bad = [cell(f"d{i}", np.exp(5 + 1.1 * rng.standard_normal(300)), 1e6) for i in range(4)]
    monkeypatch.setattr(law_checks, "_looks_like", looks_like)
    monkeypatch.setattr(law_checks, "MOST_PAIRS_TRIED", 2)
    found = checked(*bad, cell("good", 300 * rng.weibull(2, 60), 320)).set_index("duty")
    failing = found[found["weibull"] == "does not hold"]
    assert len(failing) == 4
    assert len(tried) == 2
    others = failing[failing["verdict"] != "tried"]
    assert others["verdict"].str.contains("on the 2 pairs of component and duty that fit").all()
    assert others["verdict"].str.contains("does not hold").all()
    assert "nothing speaks" in found.loc["good", "verdict"]


def test_other_laws_are_tried_on_a_bounded_number_of_lives():
    cells = law_checks.lives_on(usable_of(1200), "days")
    exit_, failed, entry = law_checks._looked_at(cells, 1, law_checks.MOST_TRIED)
    assert len(exit_) == len(failed) == len(entry) == law_checks.MOST_TRIED
    again, _, _ = law_checks._looked_at(cells, 1, law_checks.MOST_TRIED)
    assert (again == exit_).all()


def usable_of(n):
    """Usable lives of one pair."""
    rng = np.random.default_rng(2)
    return law_checks.usable_lives(
        as_table("failure_events", cell("one", 300 * rng.weibull(2, n), 1e6)), 0
    )
