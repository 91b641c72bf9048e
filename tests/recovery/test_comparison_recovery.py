"""Compared plans on invented fleets hold the truth: true laws and ages, and the year that came.

Asked of 12 fleets of 60 machines, messy export and all: means of the expected failures and money
within 10 % of the truth, 90 % ranges that hold it in most fleets.
"""

import sys
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import comparison_truth as truth

N_FLEETS = 12


@pytest.mark.slow
def test_a_simulated_year_holds_the_true_one():
    rows = [r for n in range(N_FLEETS) for r in truth.rows_of(500 + n, 60, 4)]
    found = truth.coverage(pd.DataFrame(rows))
    print(found.round(3).to_string())
    assert found["ratio"].between(0.9, 1.1).all()
    # a chance of 0.9 in each of 12 fleets gives 8 or fewer in 1 of 200 proofs; laws that the chain
    # misses by a little show as well, so that 7 is what is held here
    assert (found["held"] >= 7 / N_FLEETS).all()
    assert found.loc[("as seen, the year that came", "failures"), "held"] >= 9 / N_FLEETS
