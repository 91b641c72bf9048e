"""Each measuring piece against values worked out by hand or by the textbook."""

import math

import numpy as np
import pandas as pd
import pytest

from dutylife.practice import simulate_fleet
from dutylife.prove.calibration import calibration_of
from dutylife.prove.careful import ReadLives, careful_law, naive_age, read_lives
from dutylife.prove.demand import score_demand
from dutylife.prove.events import score_events
from dutylife.prove.figures import ALL_SIZES, figures_of
from dutylife.prove.fleet import run_fleet
from dutylife.prove.jobs import Job, jobs_of
from dutylife.prove.laws import score_laws, true_ranks
from dutylife.prove.money import careful_age, chosen_ages, score_money
from dutylife.prove.replay import future_pieces
from dutylife.prove.scores import Scores
from dutylife.prove.truth import TrueCell, lived_table, true_cells
from dutylife.schema import as_table


def cell(**other):
    law = {"distribution": "weibull", "shape": 2.0, "scale": 100.0}
    law |= {k: other.pop(k) for k in tuple(other) if k in law}
    ages, lived_by = lived_table(law)
    given = {
        "component": "spark plug", "duty": "yard", "clock": "hours", "planned_cost": 10.0,
        "failure_cost": 50.0, "per_year": 1000.0, "hours_per_week": 14.0,
    }  # fmt: skip
    return TrueCell(**(given | other), law=law, ages=ages, lived_by=lived_by)


def figure(scores, measure, method="dutylife", among="all"):
    total, base = scores.sums[measure, method, among]
    return total / base


def test_every_difficulty_is_tried_alone_at_full_strength_on_the_same_seeds(monkeypatch):
    from dutylife.practice import DIFFICULTIES
    from dutylife.prove import jobs as module

    monkeypatch.setattr(module, "DIFFICULTIES", DIFFICULTIES)  # the tiny proof has two of them
    jobs = [j for j in jobs_of("full", None, 1) if j.kind == "difficulty"]
    assert {j.case for j in jobs} == {"none", *DIFFICULTIES}
    for job in jobs:
        assert {n: s for n, s in job.difficulties if s} == (
            {} if job.case == "none" else {job.case: 1.0}
        )
    seeds = {case: [j.seed for j in jobs if j.case == case] for case in ("none", "season")}
    assert seeds["none"] == seeds["season"]
    assert len(set(seeds["none"])) >= 50
    sizes = {(j.n_units, j.n_years) for j in jobs_of("full", 1, 1) if j.kind == "size"}
    assert sizes == {(n, y) for n in (10, 30, 100, 300) for y in (1.0, 2.0, 4.0)}


@pytest.mark.parametrize(
    "difficulty",
    ["announced_contract"]
    + [
        pytest.param(name, marks=pytest.mark.slow)
        for name in ("mixed_modes", "machine_spread", "lognormal_lives", "duty_changes")
    ],
)
def test_what_bends_the_truth_is_still_scored(difficulty):
    job = Job(
        kind="difficulty", case=difficulty, number=0, n_units=12, n_years=1.5, seed=5,
        difficulties=((difficulty, 1.0),),
    )  # fmt: skip
    result = run_fleet(job)
    assert result["went_wrong"] == ""
    measures = {row["measure"] for row in result["scores"]}
    assert {"money lost", "under p95", "fill rate", "half life covered"} <= measures
    has_scale = "scale covered" in measures
    assert has_scale == (difficulty in ("duty_changes", "announced_contract"))


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(n_units=40, n_years=3, seed=11)


def test_cost_of_a_true_law_is_that_of_brute_force():
    from scipy.integrate import quad
    from scipy.stats import lognorm, weibull_min

    for truth, law in (
        (cell(), weibull_min(2.0, scale=100.0)),
        (cell(distribution="lognormal"), lognorm(0.5, scale=100.0)),
    ):
        age = 60.0
        lived = quad(law.sf, 0, age)[0]
        cost = (10.0 * law.sf(age) + 50.0 * law.cdf(age)) / lived
        assert truth.cost_rate(age) == pytest.approx(cost, rel=1e-5)
        assert truth.cost_rate(math.inf) == pytest.approx(50.0 / law.mean(), rel=1e-5)
        assert truth.median == pytest.approx(law.median(), rel=1e-5)


def test_the_best_age_is_that_of_domain_9_4():
    """DOMAIN 9.4: shape 2, 5 : 1, best age 0.51 of the scale, saving 28 %."""
    truth = cell()
    assert truth.best_age() / truth.scale == pytest.approx(0.51, abs=0.01)
    saved = 1 - truth.best_rate() / truth.cost_rate(math.inf)
    assert saved == pytest.approx(0.28, abs=0.005)
    assert cell(shape=0.9).best_age() == math.inf


def test_a_chosen_age_is_taken_to_the_clock_of_the_law():
    rows = pd.DataFrame(
        {
            "component": "spark plug", "duty": ["yard", "quay", "lane"], "task": "replace",
            "clock": ["hours", "days", None], "interval_hours": [50.0, 999.0, 60.0],
            "interval_days": [1.0, 20.0, 14.0],
        }
    )  # fmt: skip
    cells = {("spark plug", d): cell(duty=d) for d in ("yard", "quay", "lane", "none")}
    ages = chosen_ages(cells, rows)  # 2 hours run a day
    assert ages["spark plug", "yard"] == 50.0
    assert ages["spark plug", "quay"] == pytest.approx(40.0)
    assert ages["spark plug", "lane"] == pytest.approx(28.0)
    assert ages["spark plug", "none"] == math.inf


def test_the_careful_analyst_finds_the_law_and_its_age():
    rng = np.random.default_rng(1)
    life = 100.0 * rng.weibull(2.0, 4000)
    lives = ReadLives(np.minimum(life, 120.0).tolist(), (life <= 120.0).tolist())
    law = careful_law(lives)
    assert (law.shape, law.scale) == pytest.approx((2.0, 100.0), rel=0.04)
    assert careful_age(lives, (10.0, 50.0)) == pytest.approx(51.0, rel=0.06)
    assert careful_law(ReadLives([1.0, 2.0], [True, True])) is None
    assert naive_age(ReadLives([10.0, 20.0, 99.0], [True, True, False])) == pytest.approx(12.0)


def test_read_lives_are_lives_the_record_shows(fleet):
    cells = true_cells(fleet)
    read = read_lives(fleet, cells)
    shown = fleet.events[fleet.events["reason"] == "failure"]
    assert 0 < sum(r.n_failed for r in read.values()) < len(shown)
    start = pd.Timestamp("1970-01-01") + pd.Timedelta(days=fleet.span.start)
    begun = fleet.lives[(fleet.lives["installed_on"] >= start)]
    true_failed = begun[(begun["event"] == "failed")]
    assert sum(r.n_failed for r in read.values()) == pytest.approx(len(true_failed), rel=0.08)


def test_events_read_perfectly_score_full_and_lost_ones_are_missed(fleet):
    events = fleet.events.assign(
        ticket=range(len(fleet.events)), confidence=1.0, finding="failed", position=None
    )
    perfect = Scores()
    score_events(fleet, events, perfect)
    assert figure(perfect, "events found") == figure(perfect, "events rightly coded") == 1.0
    assert figure(perfect, "events made up") == 0.0
    worse = Scores()
    half = events.iloc[::2].assign(activity="replace", reason="preventive", is_comeback=False)
    score_events(fleet, half, worse)
    assert figure(worse, "events found") == pytest.approx(0.5, abs=0.02)
    assert figure(worse, "events rightly coded") < 0.5


def test_a_true_law_with_wide_bounds_scores_full():
    row = {"component": "spark plug", "duty": "yard", "clock": "hours", "n_failed": 12}
    for name, value in (("shape", 2.0), ("scale_hours", 110.0), ("b50_hours", 83.255)):
        row |= {f"{name}_lower": value / 2, name: value, f"{name}_upper": value * 2}
    scores = Scores()
    score_laws({("spark plug", "yard"): cell()}, pd.DataFrame([row]), {}, scores)
    assert figure(scores, "scale log ratio") == pytest.approx(math.log(1.1))
    assert figure(scores, "scale covered", among="10 or more failures") == 1.0
    assert figure(scores, "half life log ratio") == pytest.approx(0.0, abs=1e-4)


def test_money_of_known_ages(fleet):
    cells = true_cells(fleet)
    words = dict.fromkeys(cells)
    best = pd.DataFrame(
        [
            {"component": c, "duty": d, "task": "replace", "clock": cells[c, d].clock,
             f"interval_{cells[c, d].clock}": cells[c, d].best_age()}
            for c, d in words if math.isfinite(cells[c, d].best_age())
        ]
    )  # fmt: skip
    read = read_lives(fleet, cells)
    stated = {c: (cells[c, d].planned_cost, cells[c, d].failure_cost) for c, d in cells}
    scores = Scores()
    score_money(fleet, cells, best, stated, read, scores)
    assert figure(scores, "money lost") == pytest.approx(0.0, abs=1e-6)
    assert figure(scores, "money lost", "run to failure") > 0.1
    assert figure(scores, "money lost beyond careful") == pytest.approx(
        -figure(scores, "money lost", "careful analyst")
    )


def test_a_forecast_that_knows_has_no_loss_and_a_blank_one_is_under(fleet):
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    future = fleet.demand[fleet.demand["month"] > as_of].rename(columns={"month": "from_date"})
    exact = future.assign(plan="as seen", months=1.0)
    for name in ("p50", "p80", "p90", "p95"):
        exact[name] = exact["quantity"].clip(lower=0)
    scores = Scores()
    score_demand(fleet, {"dutylife": exact, "oracle": exact.iloc[:0]}, scores)
    assert figure(scores, "pinball loss") == 0.0
    assert figure(scores, "under p95") == 1.0
    assert figure(scores, "under p95", "oracle") < 0.8
    # nothing said: the loss of a missing piece is the mean of the four levels
    assert figure(scores, "pinball loss", "oracle") == pytest.approx(0.7875)


def test_future_pieces_are_the_true_demand(fleet):
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    end = as_of + pd.Timedelta(days=1) + pd.DateOffset(months=6)
    demand = fleet.demand[(fleet.demand["month"] > as_of) & (fleet.demand["month"] < end)]
    true = demand.groupby("part_number")["quantity"].sum()
    pieces = pd.Series({part: daily.sum() for part, daily in future_pieces(fleet).items()})
    pd.testing.assert_series_equal(
        pieces.sort_index(), true.astype(float), check_names=False, check_index_type=False
    )


def test_standard_error_is_that_of_a_mean_when_bases_are_equal():
    values = np.array([1.0, 2.0, 4.0, 7.0])
    fleets = as_table("prove_fleets", pd.DataFrame({
        "fleet": list("abcd"), "fleet_kind": "size", "case": "x", "n_units": 1, "n_years": 1.0,
        "seed": [1, 2, 3, 4],
    }))  # fmt: skip
    scores = as_table("prove_scores", pd.DataFrame({
        "fleet": list("abcd"), "measure": "m", "method": "dutylife", "among": "all",
        "total": values, "base": 1.0,
    }))  # fmt: skip
    found = figures_of(fleets, scores)
    assert set(found["case"]) == {"x", ALL_SIZES}
    assert found["figure"].iloc[0] == pytest.approx(values.mean())
    assert found["standard_error"].iloc[0] == pytest.approx(values.std(ddof=1) / 2)
    assert (found["n_fleets"] == 4).all()
    # fleets that share a seed say less: two pairs, of mean 1.5 and 5.5
    paired = figures_of(fleets.assign(seed=[1, 1, 2, 2]), scores)
    assert paired["figure"].iloc[0] == pytest.approx(values.mean())
    assert paired["standard_error"].iloc[0] == pytest.approx(2.0)


def test_ranks_of_right_draws_are_even_and_of_narrow_ones_are_not():
    rng = np.random.default_rng(5)

    def p_value(spread):
        rows = []
        for _ in range(600):
            truth = cell(scale=100.0 * math.exp(rng.normal()))
            draws = pd.DataFrame({
                "component": "spark plug", "duty": "yard", "clock": "hours", "basis": "own data",
                "shape": 2.0, "scale": 100.0 * np.exp(spread * rng.normal(size=64)),
            })  # fmt: skip
            found = true_ranks({("spark plug", "yard"): truth}, draws)
            rows += [r | {"case": "made"} for r in found if r["what"] == "scale"]
        tests = calibration_of(rows)["prove_calibration"]
        return float(tests["p_value"].iloc[0])

    assert p_value(1.0) > 0.01
    assert p_value(0.6) < 1e-6
