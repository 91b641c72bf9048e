"""The decisions reproduce published figures."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from dutylife.decisions import (
    age_replacement,
    age_replacement_weibull,
    failure_finding_interval,
    inspection_interval,
    share_failing_before_look,
)

PUBLISHED = tomllib.loads(Path(__file__).with_name("published.toml").read_text(encoding="utf-8"))


def test_uniform_life_of_the_solutions_manual():
    case = PUBLISHED["AR-01"]
    best = age_replacement(
        lambda t: np.clip(1 - t / 40000, 0, 1),
        planned_cost=100, failure_cost=200, longest_age=40000, ages=case["at"],
    )  # fmt: skip
    assert best.cost_rates == pytest.approx(case["cost_rate"], rel=1e-6)
    assert best.interval == pytest.approx(case["optimum"], rel=1e-6)
    assert best.cost_rate == pytest.approx(case["optimum_cost"], rel=1e-6)
    assert best.cost_rate_run_to_failure == pytest.approx(0.01, rel=1e-6)
    assert best.interval_lower < best.interval < best.interval_upper


def test_normal_life_of_the_worked_example():
    case = PUBLISHED["AR-04"]
    best = age_replacement(
        norm(5, 1).sf, planned_cost=5, failure_cost=10, longest_age=12, ages=case["week"]
    )
    assert best.cost_rates == pytest.approx(case["cost_rate"], rel=1e-6)
    assert case["week"][int(np.argmin(best.cost_rates))] == case["best_week"]


def test_delay_time_share():
    case = PUBLISHED["DT-01"]
    share = share_failing_before_look(case["interval"], 1 / case["delay_rate"])
    assert share == pytest.approx(case["b"], rel=1e-7)


def test_least_downtime():
    case = PUBLISHED["DT-02"]
    best = inspection_interval(
        case["defect_rate"], 1 / case["delay_rate"], look_cost=case["inspection_downtime"],
        failure_cost=case["failure_downtime"], criterion="downtime", at=[10, 50],
    )  # fmt: skip
    assert best.interval == pytest.approx(case["interval"], rel=1e-5)
    assert best.rate == pytest.approx(case["downtime"], rel=1e-5)
    assert best.rates == pytest.approx([case["at_10"], case["at_50"]], rel=1e-5)


def test_failure_finding():
    case = PUBLISHED["FF-01"]
    first = failure_finding_interval(case["availability"], case["mtbf_years"])
    exact = failure_finding_interval(case["availability"], case["mtbf_years"], exact=True)
    assert first == pytest.approx(case["interval_years"], rel=1e-6)
    assert exact == pytest.approx(case["exact_interval_years"], rel=1e-6)
    table = PUBLISHED["FF-02"]
    assert failure_finding_interval(table["availability"], 1.0) == pytest.approx(table["share"])
    both = failure_finding_interval([0.95, 0.90], 1.0, exact=True)
    assert both == pytest.approx([table["exact_at_095"], table["exact_at_090"]], rel=1e-6)


@pytest.mark.parametrize(
    ("shape", "ratio", "saving", "age", "digits"),
    # trade table of savings against run to failure and best age as a share of scale; computed by
    # a scan in another program, printed to whole percent
    [
        (1.5, 5, 0.11, 0.7, 1),
        (2.0, 5, 0.28, 0.51, 2),
        (2.0, 10, 0.46, 0.34, 2),
        (3.0, 3, 0.28, 0.64, 2),
    ],
)
def test_savings_by_shape_and_ratio(shape, ratio, saving, age, digits):
    best = age_replacement_weibull(
        [shape], [1.0], planned_cost=1.0, failure_cost=ratio, longest_age=4.0
    )
    assert best.saving == pytest.approx(saving, abs=0.006)
    assert best.best_age == pytest.approx(age, abs=1.01 * 10.0**-digits)
