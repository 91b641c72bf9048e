"""Lives drawn from a fitted law under the watching that the real lives had."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.curved import CurvedLaw
from dutylife.models.general import LOG_SURVIVAL
from dutylife.models.laws import LifeLaw

Array = NDArray[np.float64]
_SURE = 50.0  # hazard that stands for "all watching ends here"


def hazard_at(law: LifeLaw | CurvedLaw, ages: Array) -> Array:
    """Cumulative hazard of a law at ages: minus log survival, shape as ``ages`` [1]."""
    if isinstance(law, CurvedLaw):
        return law.cumulative_hazard(ages)
    name = "weibull" if law.law == "exponential" else law.law
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        z = (np.log(ages) - law.location) / law.spread
        found: Array = np.where(ages > 0, -LOG_SURVIVAL[name](z)[0], 0.0)
    return found


def age_at(law: LifeLaw | CurvedLaw, hazard: Array) -> Array:
    """Age at which a law's cumulative hazard reaches a value, shape as ``hazard`` [age]."""
    from scipy.special import gammainccinv, ndtri_exp

    if isinstance(law, CurvedLaw):
        if law.law == "gamma":
            found: Array = law.scale * gammainccinv(law.shape, np.exp(-hazard))
            return found
        return np.asarray(law.threshold + law.scale * hazard ** (1.0 / law.shape))
    if law.law == "lognormal":
        z = -ndtri_exp(-hazard)
    elif law.law == "log-logistic":
        z = np.log(np.expm1(hazard))
    else:
        z = np.log(hazard)
    return np.asarray(np.exp(law.location + law.spread * z))


@dataclass(frozen=True, slots=True)
class Watching:
    """How lives were watched: from ``entry`` on, to an end known only where it cut a life off.

    ``ends`` are the ages at which watching ended, ``hazard`` the cumulative hazard of its ending
    there, by which the end of watching of a life that failed is drawn.
    """

    entry: Array
    exit: Array
    failed: NDArray[np.bool_]
    ends: Array
    hazard: Array

    @classmethod
    def of(cls, exit_: Array, failed: NDArray[np.bool_], entry: Array) -> "Watching":
        """Watching of checked lives, its ends by a product-limit curve (lives failed cut it)."""
        ends = np.unique(exit_[~failed])
        at_risk = np.array([((entry < c) & (exit_ >= c)).sum() for c in ends], dtype=float)
        # at one age failures come before ends of watching: who failed there no longer counts
        gone = np.array([((exit_ == c) & failed).sum() for c in ends], dtype=float)
        ended = np.array([((exit_ == c) & ~failed).sum() for c in ends], dtype=float)
        share = ended / (at_risk - gone)
        with np.errstate(divide="ignore"):
            step = np.minimum(-np.log1p(-share), _SURE)
        return cls(entry, exit_, failed, ends, np.cumsum(step))

    def limits(self, rng: np.random.Generator, k: int) -> Array:
        """Ages at which watching would have ended, ``k`` times over, shape (k, n).

        Seen where it did, drawn beyond failures; infinite where no watching was seen to end
        beyond a failure.
        """
        found = np.tile(self.exit, (k, 1))
        who = np.flatnonzero(self.failed)
        before = np.concatenate([[0.0], self.hazard])
        place = np.searchsorted(self.ends, self.exit[who], side="left")
        goal = before[place] + rng.exponential(size=(k, len(who)))
        at = np.searchsorted(self.hazard, goal, side="left")
        found[:, who] = np.append(self.ends, np.inf)[at]
        return found

    def draw(
        self, law: LifeLaw | CurvedLaw, rng: np.random.Generator
    ) -> tuple[Array, NDArray[np.bool_]]:
        """Ages and failures of as many lives that follow a law, watched as these were."""
        start = np.where(self.entry > 0, hazard_at(law, self.entry), 0.0)
        ages = age_at(law, start + rng.exponential(size=len(self.entry)))
        ages = np.maximum(ages, np.nextafter(self.entry, np.inf))
        limits = self.limits(rng, 1)[0]
        return np.minimum(ages, limits), ages <= limits
