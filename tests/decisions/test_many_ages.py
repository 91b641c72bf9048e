"""Ages of many laws and cells at once: as the slow, plain ways give them."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import gamma, gammainc

from dutylife.decisions.age_cells import cell_optima
from dutylife.decisions.age_table import optimal_ages
from dutylife.decisions.age_weibull import age_replacement_weibull
from dutylife.errors import DecisionError


def rate(age, shape, scale, ratio):
    hazard = (age / scale) ** shape
    lived = scale * gamma(1 + 1 / shape) * gammainc(1 / shape, hazard)
    return (1 - (ratio - 1) * np.expm1(-hazard)) / lived


def slope(age, shape, ratio):
    """Sign of the slope of the cost rate: hazard rate x length of a cycle - its cost."""
    hazard = age**shape
    lived = gamma(1 + 1 / shape) * gammainc(1 / shape, hazard)
    return (ratio - 1) * shape * hazard / age * lived - 1 + (ratio - 1) * np.expm1(-hazard)


@pytest.mark.parametrize("ratio", [1.02, 1.3, 2.0, 5.0, 40.0, 900.0, 5000.0])
def test_ages_of_the_table_stand_at_the_bottom_within_5e_6(ratio):
    """The slope of the cost changes sign within 5e-6 of the age, over all shapes."""
    shapes = np.exp(np.linspace(np.log(1.001), np.log(80), 4001))[None, :]
    ages = optimal_ages(shapes, [ratio], 1.0)
    seen = np.isfinite(ages) & (ages < 1e3)
    k, at = shapes[seen], ages[seen]
    assert seen.sum() > 1000
    near = at**k < 30  # beyond, nothing survives and the slope is lost in rounding
    assert np.all(slope(at[near] * (1 - 5e-6), k[near], ratio) < 0)
    assert np.all(slope(at[near] * (1 + 5e-6), k[near], ratio) > 0)


def test_ages_scale_with_the_law_and_never_end_without_wear():
    one = optimal_ages([[1.5, 3.0]], [4.0])
    assert optimal_ages([[1.5, 3.0]], [4.0], [[10.0, 20.0]]) == pytest.approx(one * [[10, 20]])
    assert np.isinf(optimal_ages([[1.0, 0.4]], [50.0])).all()


def test_a_cell_takes_the_age_of_least_expected_cost():
    random = np.random.default_rng(4)
    n, m = 60, 49
    spread = random.uniform(0.02, 0.4, n)[:, None]
    shape = random.lognormal(0.7, 0.3, n)[:, None] * np.exp(spread * random.normal(size=(n, m)))
    scale = random.lognormal(6, 0.5, n)[:, None] * np.exp(spread * random.normal(size=(n, m)))
    ratio = np.exp(random.uniform(0.3, 3.5, n))
    weights = random.dirichlet(np.ones(m), n)
    found = cell_optima(shape, scale, weights, np.ones(n), ratio)
    for i in range(n):

        def mean(x, i=i):
            return float(weights[i] @ rate(np.exp(x), shape[i], scale[i], ratio[i]))

        waiting = weights[i] @ (ratio[i] / (scale[i] * gamma(1 + 1 / shape[i])))
        middle = np.log(weights[i] @ scale[i])
        grid = np.linspace(middle - 5, middle + np.log(4), 400)
        at = grid[np.argmin([mean(x) for x in grid])]
        best = minimize_scalar(mean, bounds=(at - 0.05, at + 0.05), method="bounded").fun
        mine = mean(np.log(found.age[i])) if np.isfinite(found.age[i]) else waiting
        assert mine <= (1 + 1e-4) * min(best, waiting)
        assert found.cost_rate[i] == pytest.approx(mine, rel=5e-4)
        assert found.cost_rate_run_to_failure[i] == pytest.approx(waiting)


def test_it_agrees_with_the_run_over_one_cell():
    random = np.random.default_rng(6)
    shape, scale = random.lognormal(0.8, 0.2, (1, 64)), random.lognormal(5, 0.2, (1, 64))
    many = cell_optima(shape, scale, np.full((1, 64), 1 / 64), [2.0], [9.0])
    one = age_replacement_weibull(
        shape[0], scale[0], planned_cost=2.0, failure_cost=9.0, longest_age=2000.0
    )
    assert many.age[0] == pytest.approx(one.best_age, rel=5e-3)
    assert many.cost_rate[0] == pytest.approx(one.cost_rate, rel=1e-4)


def test_rows_that_only_fill_count_for_nothing():
    plain = cell_optima([[2.0]], [[100.0]], [[1.0]], [1.0], [5.0])
    padded = cell_optima([[2.0, 9.0]], [[100.0, 1.0]], [[1.0, 0.0]], [1.0], [5.0])
    assert padded.age == pytest.approx(plain.age, rel=1e-6)


def test_what_cannot_be_is_refused():
    with pytest.raises(DecisionError, match="cost_ratio"):
        optimal_ages([[2.0]], [1.0])
    with pytest.raises(DecisionError, match="row of draws"):
        optimal_ages([2.0], [5.0])
    with pytest.raises(DecisionError, match="planned_cost, failure_cost"):
        cell_optima([[2.0]], [[9.0]], [[1.0]], [5.0], [5.0])
