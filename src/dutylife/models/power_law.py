"""Power-law process: units repaired as they are, whose failures come ever faster or slower."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dutylife.errors import FitError
from dutylife.models.power_root import log_power_error, root_of
from dutylife.models.repairs import Repaired, repaired
from dutylife.wording import count, number

Rates = Literal["common", "own"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """Expected failures of a unit by age t: ``rate x t ** power``.

    ``power`` and ``rate`` are by maximum likelihood (n over the sum of logs); ``power_unbiased``
    and ``rate_unbiased`` are free of bias for one span: n - 1 for n where watching ended at a set
    age, n - 2 where it ended with a failure (with k units: n - k - 1). ``rates`` says whether
    units share one rate ("common") or each has its own ("own"; ``rate`` is then their mean). A
    power above 1: failures come ever faster.
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
    rates: str
    log_power_error: float
    log_total: float

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

    def power_bounds(self, level: float | None = None) -> tuple[float, float]:
        """Bounds of the power [1].

        Where every unit was watched from age 0: chi-square, 2 n degrees (2 (n - k) where watching
        ended with the last failure of each of k units), from the sum of logs alone, so exact
        also where rates differ (MIL-HDBK-189; Crow; from memory). Else by the delta method on
        the log scale.

        Raises
        ------
        FitError
            A level out of range.
        """
        share = self.level if level is None else level
        if not 0 < share < 1:
            raise FitError(f"A level of {share} can't be.", "PowerLaw(level)", "0 < level < 1")
        if math.isfinite(self.log_total):
            from scipy.special import chdtri

            degrees = 2.0 * (self.n_events - (self.n_units if self.at_failure else 0))
            # chdtri takes the chance above
            low, high = chdtri(degrees, [0.5 + share / 2.0, 0.5 - share / 2.0])
            return float(low) / (2.0 * self.log_total), float(high) / (2.0 * self.log_total)
        from scipy.special import ndtri

        width = math.exp(float(ndtri(0.5 + share / 2.0)) * self.log_power_error)
        return self.power / width, self.power * width

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
    start: ArrayLike | None = None,
    rates: Rates = "common",
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
    start : float or mapping of unit to float, optional
        Age at which watching began, 0 by default: a unit is watched over (start, end].
    rates : {"common", "own"}
        One rate for all units, or each its own, so that only where failures lie within each
        unit's span tells the power (the likelihood given the number of failures of each). The
        two agree where all spans are alike.
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
    Closed forms where all units were watched equally long from age 0, or have rates of their own
    from age 0; else the likelihood's root in the power by bracketing. The unbiased power is then
    multiplied by the same (n - 1) / n, which is exact for the closed forms only. The Cramer-von
    Mises figure takes each age as a share of its unit's span, raised to the unbiased power (Crow;
    MIL-HDBK-189); missing for units watched from later on.
    """
    where = "power_law(age, end=, unit=, start=)"
    seen = repaired(age, end, unit, where, start)
    n = seen.n_events
    lost = len(seen.ages) if seen.at_failure else 0
    new = bool((seen.starts == 0).all())
    logs = [np.log(e / a) for a, e in zip(seen.ages, seen.ends, strict=True)]
    # the last failure of a unit whose watching it ended tells nothing: its log is 0
    total = float(sum(part.sum() for part in logs))
    if n - lost < 2 or total <= 0 or not 0 < level < 1 or rates not in ("common", "own"):
        raise FitError(
            f"{count(n, 'failure')} at a level of {level} are too little for a power law, or "
            f"rates '{rates}' are not known.", where,
            "3 failures at unlike ages, 0 < level < 1, and rates 'common' or 'own'",
        )  # fmt: skip
    closed = new and (rates == "own" or np.ptp(seen.ends) == 0)
    power = n / total if closed else root_of(seen, rates)
    rate = n / _spanned(seen, power)
    unbiased = power * (n - lost - 1.0) / n
    return PowerLaw(
        n_units=len(seen.ages),
        n_events=n,
        end=float(seen.ends.max()),
        at_failure=seen.at_failure,
        level=level,
        power=power,
        rate=rate,
        power_unbiased=unbiased,
        rate_unbiased=n / _spanned(seen, unbiased),
        cramer_von_mises=_distance(seen, unbiased) if new else math.nan,
        rates=rates,
        log_power_error=1.0 / math.sqrt(float(n)) if closed else log_power_error(
            seen, rates, power
        ),
        log_total=total if new else math.nan,
    )  # fmt: skip


def _spanned(seen: Repaired, power: float) -> float:
    return float((seen.ends**power - seen.starts**power).sum())


def _distance(seen: Repaired, power: float) -> float:
    """Cramer-von Mises figure of units watched from age 0."""
    shares = np.sort(np.concatenate(
        [a[: len(a) - 1] / e if seen.at_failure else a / e
         for a, e in zip(seen.ages, seen.ends, strict=True)]
    ))  # fmt: skip
    m = len(shares)
    middle = (2.0 * np.arange(1, m + 1) - 1.0) / (2.0 * m)
    return float(1.0 / (12.0 * m) + ((shares**power - middle) ** 2).sum())
