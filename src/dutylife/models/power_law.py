"""Power-law process: units repaired as they are, whose failures come ever faster or slower."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dutylife.errors import FitError
from dutylife.models.repairs import Repaired, repaired
from dutylife.wording import count, number


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """Expected failures of a unit by age t: ``rate x t ** power``.

    ``power`` and ``rate`` are by maximum likelihood; ``power_unbiased`` and ``rate_unbiased``
    are free of bias for one span (n - 1 for n where watching ended at a set age, n - 2 where it
    ended with a failure). A power above 1: failures come ever faster.
    """

    n_units: int
    n_events: int
    end: float
    at_failure: bool
    level: float
    power: float
    rate: float
    power_unbiased: float
    rate_unbiased: float
    cramer_von_mises: float

    def expected(self, age: float) -> float:
        """Expected failures of a unit by an age, by maximum likelihood [1]."""
        return float(self.rate * age**self.power)

    def intensity(self, age: float) -> float:
        """Failures an age unit at an age, by maximum likelihood [1 / age]."""
        return float(self.rate * self.power * age ** (self.power - 1.0))

    @property
    def mean_gap_at_end(self) -> float:
        """Mean age between failures at the end of watching, by maximum likelihood [age]."""
        return 1.0 / self.intensity(self.end)

    @property
    def mean_gap_at_end_unbiased(self) -> float:
        """The same from the unbiased figures [age]."""
        slope = self.rate_unbiased * self.power_unbiased
        return float(1.0 / (slope * self.end ** (self.power_unbiased - 1.0)))

    def mean_gap_bounds(self, level: float | None = None) -> tuple[float, float]:
        """Bounds of the mean age between failures at the end of watching, one span [age].

        Large-sample form of the NIST/SEMATECH e-Handbook, section 8.4.5.2, for watching that
        ended at a set age; tabled conservative limits differ from it.

        Raises
        ------
        FitError
            Fewer failures than the form can carry, or a level out of range.
        """
        from scipy.special import ndtri

        share = self.level if level is None else level
        if not 0 < share < 1:
            raise FitError(f"A level of {share} can't be.", "PowerLaw(level)", "0 < level < 1")
        z, n = float(ndtri(0.5 + share / 2.0)), float(self.n_events)
        upper = n - z * math.sqrt(n / 2.0)
        if n < 2 or upper <= 0:
            raise FitError(
                f"{count(int(n), 'failure')} can't carry a range at level {share}.",
                "PowerLaw.mean_gap_bounds(level)", "ask for a lower level",
            )  # fmt: skip
        gap, spread = self.mean_gap_at_end_unbiased, n * (n - 1.0)
        lower = n + z**2 / 4.0 + math.sqrt(n * z**2 / 2.0 + z**4 / 16.0)
        return gap * spread / lower**2, gap * spread / upper**2

    @property
    def table(self) -> pd.DataFrame:
        """Rows power, rate, mean_gap_at_end; columns likelihood and unbiased."""
        rows = {
            "power": (self.power, self.power_unbiased),
            "rate": (self.rate, self.rate_unbiased),
            "mean_gap_at_end": (self.mean_gap_at_end, self.mean_gap_at_end_unbiased),
        }
        return pd.DataFrame.from_dict(rows, orient="index", columns=["likelihood", "unbiased"])

    @property
    def text(self) -> str:
        """One sentence."""
        way = "faster" if self.power_unbiased > 1 else "slower"
        return (
            f"{count(self.n_events, 'failure')} of {count(self.n_units, 'repaired unit')}: they "
            f"come ever {way} (power {number(self.power_unbiased)}); at the end of watching one "
            f"every {number(self.mean_gap_at_end_unbiased)}."
        )


def power_law(
    age: ArrayLike,
    *,
    end: ArrayLike | None = None,
    unit: ArrayLike | None = None,
    level: float = 0.90,
) -> PowerLaw:
    """Fit a power-law process (Crow; a Poisson process with intensity of a power of age).

    Parameters
    ----------
    age : array_like, shape (n,)
        Age of the unit at each failure, not gaps. [one unit for all]
    end : float or mapping of unit to float, optional
        Age at which watching ended; without it watching ended with each unit's last failure.
    unit : array_like, shape (n,), optional
        Which unit each failure is of; one unit by default. ``rate`` is per unit.
    level : float
        Confidence level of the bounds. [1]

    Returns
    -------
    PowerLaw

    Raises
    ------
    FitError
        Ages that can't stand, or fewer than 3 failures.

    Notes
    -----
    Closed forms where all units were watched equally long, else the likelihood's root in the
    power by bracketing. The Cramer-von Mises figure takes each age as a share of its unit's span,
    raised to the unbiased power (Crow; MIL-HDBK-189).
    """
    seen = repaired(age, end, unit, "power_law(age, end=, unit=)")
    logs = [np.log(e / a) for a, e in zip(seen.ages, seen.ends, strict=True)]
    # the last failure of a unit whose watching it ended tells nothing: its log is 0
    total = float(sum(part.sum() for part in logs))
    n = seen.n_events
    lost = len(seen.ages) if seen.at_failure else 0
    if n - lost < 2 or total <= 0 or not 0 < level < 1:
        raise FitError(
            f"{count(n, 'failure')} at a level of {level} are too little for a power law.",
            "power_law(age, level=)", "3 failures at unlike ages, and 0 < level < 1",
        )  # fmt: skip
    power = n / total if np.ptp(seen.ends) == 0 else _root(seen)
    rate = n / float((seen.ends**power).sum())
    unbiased = power * (n - lost - 1.0) / n
    shares = np.sort(np.concatenate(
        [a[: len(a) - 1] / e if seen.at_failure else a / e
         for a, e in zip(seen.ages, seen.ends, strict=True)]
    ))  # fmt: skip
    m = len(shares)
    middle = (2.0 * np.arange(1, m + 1) - 1.0) / (2.0 * m)
    return PowerLaw(
        n_units=len(seen.ages),
        n_events=n,
        end=float(seen.ends.max()),
        at_failure=seen.at_failure,
        level=level,
        power=power,
        rate=rate,
        power_unbiased=unbiased,
        rate_unbiased=n / float((seen.ends**unbiased).sum()),
        cramer_von_mises=float(1.0 / (12.0 * m) + ((shares**unbiased - middle) ** 2).sum()),
    )


def _root(seen: Repaired) -> float:
    """Power at which the likelihood's slope is 0, the spans unlike."""
    from scipy.optimize import brentq

    n, top = seen.n_events, float(seen.ends.max())
    spans = seen.ends / top
    logs = float(sum(np.log(a / top).sum() for a in seen.ages))

    def slope(log_power: float) -> float:
        power = math.exp(log_power)
        weight = spans**power
        return float(n / power + logs - n * (weight @ np.log(spans)) / weight.sum())

    return math.exp(float(brentq(slope, -12.0, 12.0, xtol=1e-14, rtol=1e-14)))
