"""Lives without failures give a lower bound; chi-square bounds with failures keep their word."""

import math

import numpy as np
import pytest

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import fit_law


def test_no_failure_is_a_lower_bound_under_a_steady_rate() -> None:
    law = fit_law("exponential", [400.0, 700.0], [0, 0], entry=[0.0, 100.0])
    assert law.scale == math.inf
    assert law.n_failed == 0
    # 1000 hours without failure have a chance of 5 % at a mean of 1000 / -log(0.05)
    low, high = law.bounds("mean", 0.90, "chi-square")
    assert math.exp(-1000 / low) == pytest.approx(0.05)
    assert high == math.inf
    one, _ = law.bounds("b10", 0.95, "chi-square", side="lower")
    assert one == pytest.approx(low * -math.log(0.9))
    assert law.table["lower"].notna().all()
    assert "lower bound" in law.text
    assert law.survival([1.0, 1e6]).tolist() == [1.0, 1.0]


def test_no_failure_gives_no_other_bound_and_no_other_law() -> None:
    law = fit_law("exponential", [400.0, 600.0], [0, 0])
    for kind in ("wald log", "likelihood ratio"):
        with pytest.raises(FitError, match="nothing has failed"):
            law.bounds("scale", 0.9, kind)
    with pytest.raises(FitError, match="Nothing has failed"):
        law.bounds("scale", 0.9, "chi-square", ended="failure")
    for name in ("weibull", "lognormal", "log-logistic", "gamma", "three-parameter weibull"):
        with pytest.raises(TooFewFailuresError, match="None of 2 lives"):
            fit_law(name, [400.0, 600.0], [0, 0])
    with pytest.raises(TooFewFailuresError, match="None of 2 lives"):
        fit_law("weibull", [400.0, 600.0], [0, 0], shape=2.0)
    with pytest.raises(FitError, match="exponential law"):
        fit_law("weibull", [40.0, 60.0, 50.0], [1, 1, 0]).bounds("scale", 0.9, "chi-square")
    with pytest.raises(FitError, match="above 0.5 for one side"):
        law.bounds("scale", 0.4, "chi-square", side="lower")


def test_a_group_without_failures_stands_beside_one_with() -> None:
    laws = fit_law("exponential", [5, 9, 7, 8], [1, 1, 0, 0], by=["a", "a", "b", "b"])
    assert laws["a"].scale == pytest.approx(7.0)
    assert laws["b"].scale == math.inf


def test_chi_square_bounds_hold_the_truth_as_often_as_they_say() -> None:
    """Mean 100. Stopped at the 5th of 12 failures: exact. Stopped at 40 hours: at least."""
    rng = np.random.default_rng(8)
    n, held = 3000, {"failure": 0, "time": 0}
    below = {"failure": 0, "time": 0}
    for _ in range(n):
        life = np.sort(rng.exponential(100.0, 12))
        for ended, stop in (("failure", life[4]), ("time", 40.0)):
            law = fit_law("exponential", np.minimum(life, stop), life <= stop)
            low, high = law.bounds("scale", 0.90, "chi-square", ended=ended)
            held[ended] += low <= 100.0 <= high
            below[ended] += low > 100.0
    # 3 standard errors of 3000 draws at 0.90 are 0.016, at 0.05 0.012
    assert held["failure"] / n == pytest.approx(0.90, abs=0.017)
    assert below["failure"] / n == pytest.approx(0.05, abs=0.012)
    assert held["time"] / n > 0.90 - 0.017
    assert below["time"] / n < 0.05 + 0.012
