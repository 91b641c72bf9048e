"""What would settle an advice that can't be told: said from where the doubt comes from."""

import numpy as np
import pytest
from scipy.stats import gamma, norm

from dutylife.decisions.telling import would_tell

LEVEL = 0.9
Z = norm.ppf(LEVEL)
U = (np.arange(20_000) + 0.5) / 20_000


def told(gap, slope, law_sd, *, rate=4.0, expected=2.0, years=2.0, **more):
    """A machine whose factor is known like one of ``rate`` failures; laws add their own doubt."""
    factor = gamma.ppf(U, rate, scale=1 / rate)
    laws = law_sd * norm.ppf(np.random.default_rng(3).permutation(U))
    with_plan = 1000 + gap + slope * (factor - factor.mean()) + laws
    given = {"has_price": True, "equipment_class": "trench pump", "duty": "harbour"} | more
    return would_tell(
        with_plan, np.full(len(U), 1000.0), factor, level=LEVEL, watched_years=years,
        expected=expected, **given,
    )  # fmt: skip


def slope_for(gap, times, rate=4.0):
    """Slope at which the own record's variance is ``times`` what a verdict may leave open."""
    return gap / Z * np.sqrt(times * rate)


def test_without_a_price_the_price_would_tell():
    assert told(200, 100, 0, has_price=False) == (
        "a price of a new trench pump: [replacement_price], today"
    )


def test_where_both_cost_the_same_no_record_would_tell():
    assert told(10, 3000, 0).startswith("no record")


@pytest.mark.parametrize(("times", "years"), [(1.25, 1.0), (1.5, 2.0), (2.0, 4.0)])
def test_the_machines_own_record_tells_when_its_variance_has_shrunk_enough(times, years):
    """Variance goes as 1 / (rate + failures expected), 1 a year: rate 4 falls by ``times``."""
    said = told(200, slope_for(200, times), 0)
    assert said.startswith(f"about {round(years * 12)} months more of its own record")


def test_a_record_that_would_take_too_long_is_said_to():
    assert told(200, slope_for(200, 4.0), 0).startswith("more than 5 years")


def test_doubt_of_the_laws_is_not_settled_by_one_machine():
    said = told(200, 10, 400)
    assert "more failures of its kind in harbour" in said
    assert "can't settle it" in said
