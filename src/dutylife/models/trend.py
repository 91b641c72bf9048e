"""Do failures of repaired units come ever faster or slower? Tests against a steady rate."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dutylife.errors import FitError
from dutylife.models.repairs import repaired
from dutylife.wording import count, number


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTests:
    """Three tests; the last is for one unit only and missing (nan) for several.

    ``military_handbook`` is chi-square with ``degrees`` under a steady rate, large when failures
    come ever slower; ``laplace`` is standard normal, negative when they come ever slower;
    ``reversals`` counts later gaps that are strictly longer than earlier ones, many when slower.
    """

    n_units: int
    n_events: int
    military_handbook: float
    degrees: int
    laplace: float
    reversals: float
    expected_reversals: float

    @property
    def p_improving(self) -> float:
        """Chance of as slow a coming at a steady rate, by the Military Handbook test [1]."""
        from scipy.stats import chi2

        return float(chi2.sf(self.military_handbook, self.degrees))

    @property
    def p_deteriorating(self) -> float:
        """Chance of as fast a coming at a steady rate, by the Military Handbook test [1]."""
        return 1.0 - self.p_improving

    @property
    def p_laplace(self) -> float:
        """Two-sided chance of so large a Laplace figure at a steady rate [1]."""
        return math.erfc(abs(self.laplace) / math.sqrt(2.0))

    @property
    def table(self) -> pd.DataFrame:
        """Rows by test: statistic, p_improving, p_deteriorating."""
        below = 0.5 * math.erfc(-self.laplace / math.sqrt(2.0))
        rows = {
            "military handbook": (
                self.military_handbook, self.p_improving, self.p_deteriorating,
            ),
            "laplace": (self.laplace, below, 1.0 - below),
            "reverse arrangements": (self.reversals, *self._reversal_chances()),
        }  # fmt: skip
        return pd.DataFrame.from_dict(
            rows, orient="index", columns=["statistic", "p_improving", "p_deteriorating"]
        )

    def _reversal_chances(self) -> tuple[float, float]:
        n = self.n_events
        if not math.isfinite(self.reversals) or n < 4:
            return math.nan, math.nan
        # the normal form with half a step of continuity; tables are exact below some 10 gaps
        spread = math.sqrt((2.0 * n + 5.0) * (n - 1.0) * n / 72.0)
        gap = self.reversals - self.expected_reversals
        up = 0.5 * math.erfc((gap - 0.5) / spread / math.sqrt(2.0))
        return up, 0.5 * math.erfc((-gap - 0.5) / spread / math.sqrt(2.0))

    @property
    def text(self) -> str:
        """One sentence."""
        told = f"{count(self.n_events, 'failure')} of {count(self.n_units, 'repaired unit')}"
        if min(self.p_improving, self.p_deteriorating) > 0.05:
            return f"{told}: no clear trend, they come at a steady rate as far as can be told."
        way = "slower" if self.p_improving < self.p_deteriorating else "faster"
        low = number(min(self.p_improving, self.p_deteriorating))
        return f"{told}: they come ever {way}; at a steady rate that has a chance of {low}."


def trend_tests(
    age: ArrayLike, *, end: ArrayLike | None = None, unit: ArrayLike | None = None
) -> TrendTests:
    """Test failures of repaired units for a trend.

    Parameters
    ----------
    age : array_like, shape (n,)
        Age of the unit at each failure, not gaps. [one unit for all]
    end : float or mapping of unit to float, optional
        Age at which watching ended; without it watching ended with each unit's last failure,
        which then is left out of the sums (n - 1 for n).
    unit : array_like, shape (n,), optional
        Which unit each failure is of. Several units are pooled, each against its own steady
        rate's span (Kvaloy and Lindqvist, Reliability Engineering and System Safety 60, 1998).

    Returns
    -------
    TrendTests

    Raises
    ------
    FitError
        Ages that can't stand, or too few failures.

    Notes
    -----
    MIL-HDBK-189 and Laplace tests, and reverse arrangements, as of the NIST/SEMATECH e-Handbook
    of Statistical Methods, section 8.2.3.4.
    """
    seen = repaired(age, end, unit, "trend_tests(age, end=, unit=)")
    inside = [a[:-1] if seen.at_failure else a for a in seen.ages]
    n = sum(len(a) for a in inside)
    if n < 1:
        raise FitError(
            f"{count(seen.n_events, 'failure')} can't show a trend.", "trend_tests(age)",
            "2 failures or more of a unit, or its end of watching",
        )  # fmt: skip
    handbook = 2.0 * sum(float(np.log(e / a).sum()) for a, e in zip(inside, seen.ends, strict=True))
    counts = np.array([len(a) for a in inside], dtype=float)
    off = sum(float(a.sum()) for a in inside) - float(counts @ seen.ends) / 2.0
    laplace = off / math.sqrt(float(counts @ seen.ends**2) / 12.0)
    reversals, expected = math.nan, math.nan
    if len(seen.ages) == 1:
        gaps = np.diff(np.concatenate([[0.0], seen.ages[0]]))
        later = gaps[None, :] > gaps[:, None]
        reversals = float(np.triu(later, 1).sum())
        expected = len(gaps) * (len(gaps) - 1) / 4.0
    return TrendTests(
        n_units=len(seen.ages),
        n_events=seen.n_events,
        military_handbook=handbook,
        degrees=2 * n,
        laplace=laplace,
        reversals=reversals,
        expected_reversals=expected,
    )
