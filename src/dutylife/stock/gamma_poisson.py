"""Failure rates from judgement and a thin record: gamma prior, Poisson failures."""

import math
from dataclasses import dataclass

import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_law
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.wording import number


@dataclass(frozen=True, slots=True, kw_only=True)
class GammaPoisson:
    """What is known of a constant rate of failures.

    Parameters
    ----------
    shape : float
        Failures it is worth. [1]
    time : float
        Time it is worth (the gamma law's rate parameter, 1 / scale). [unit of time]
    """

    shape: float
    time: float

    @property
    def mean_rate(self) -> float:
        """Mean failures per unit of time: shape / time."""
        return self.shape / self.time

    def rate(self, chance: float) -> float:
        """Rate that is not exceeded with a chance [1 per unit of time]."""
        from scipy.special import gammaincinv

        if not 0 < chance < 1:
            raise DecisionError(f"A chance of {chance} can't be.", "chance", "between 0 and 1")
        return float(gammaincinv(self.shape, chance)) / self.time

    def mean_time_between(self, chance: float = 0.5) -> float:
        """Mean time between failures that is exceeded with a chance [unit of time].

        1 / rate(chance): 0.5 gives the median, 0.8 the lower 80 % limit. Not 1 / mean_rate,
        which lies below the median.
        """
        return 1 / self.rate(chance)

    def chance_above(self, mean_time_between: float) -> float:
        """Chance that the mean time between failures exceeds a figure [1]."""
        from scipy.special import gammainc

        return float(gammainc(self.shape, self.time / mean_time_between))

    def after(self, n_failures: float, time: float) -> "GammaPoisson":
        """What is known after more failures in more time: both add up."""
        return gamma_poisson(self.shape, self.time, n_failures=n_failures, time=time)

    def predictive(self, time: float) -> DemandLaw:
        """Law of the failures in a time to come: negative binomial, the rate's doubt included."""
        if not 0 < time < math.inf:
            raise DecisionError(f"A time of {time} can't be.", "time", "a positive time")
        mean = self.mean_rate * time
        return demand_law("negative binomial", mean=mean, variance=mean + mean**2 / self.shape)

    @property
    def table(self) -> pd.DataFrame:
        """Rows by chance: rate not exceeded, mean time between failures exceeded."""
        chances = [0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 0.95]
        return pd.DataFrame(
            {"chance": chances, "rate": [self.rate(c) for c in chances],
             "mean_time_between": [self.mean_time_between(c) for c in chances]}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"A failure every {number(self.mean_time_between())} or so (8 chances in 10 that it is "
            f"more than {number(self.mean_time_between(0.8))})."
        )


def gamma_poisson(
    prior_shape: float, prior_time: float, *, n_failures: float = 0.0, time: float = 0.0
) -> GammaPoisson:
    """Update a gamma prior of a failure rate by failures seen in a time.

    Parameters
    ----------
    prior_shape, prior_time : float
        Failures and time the prior is worth. [1, unit of time]
    n_failures, time : float
        Failures seen, and the time they were seen in. [1, unit of time]

    Returns
    -------
    GammaPoisson
        shape = prior + failures, time = prior + time.

    Raises
    ------
    DecisionError
        A prior that is not positive, or a negative record.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.6.

    Examples
    --------
    >>> found = gamma_poisson(2.863, 1522.46, n_failures=2, time=1700)
    >>> round(found.mean_time_between(), 1), round(found.mean_time_between(0.8), 1)
    (710.7, 491.4)
    """
    if not (0 < prior_shape < math.inf and 0 < prior_time < math.inf):
        raise DecisionError(
            f"A prior of shape {prior_shape} and time {prior_time} can't be.",
            "prior_shape, prior_time", "give positive figures, or gamma_prior(...)",
        )  # fmt: skip
    if not (0 <= n_failures < math.inf and 0 <= time < math.inf):
        raise DecisionError(
            f"{n_failures} failures in {time} can't be.", "n_failures, time", "0 or more"
        )
    return GammaPoisson(shape=prior_shape + n_failures, time=prior_time + time)


def gamma_prior(
    likely: float, low: float, *, likely_chance: float = 0.5, low_chance: float = 0.95
) -> GammaPoisson:
    """Gamma prior from two judgements of the mean time between failures.

    Parameters
    ----------
    likely, low : float
        Mean time between failures exceeded with ``likely_chance``, and with ``low_chance``.
        [unit of time]
    likely_chance, low_chance : float
        [1]

    Returns
    -------
    GammaPoisson

    Raises
    ------
    DecisionError
        Judgements that no gamma law meets.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.5.

    Examples
    --------
    >>> prior = gamma_prior(600, 250)
    >>> round(prior.shape, 3), round(prior.time)
    (2.863, 1523)
    """
    from scipy.optimize import brentq
    from scipy.special import gammaincinv

    if not (0 < low < likely < math.inf and 0 < likely_chance < low_chance < 1):
        raise DecisionError(
            f"{likely} with chance {likely_chance} and {low} with {low_chance} can't be.",
            "gamma_prior", "the low figure below the likely one, its chance above",
        )  # fmt: skip

    def apart(log_shape: float) -> float:
        shape = math.exp(log_shape)
        ends = gammaincinv(shape, [likely_chance, low_chance])
        return float(math.log(ends[1] / ends[0]) - math.log(likely / low))

    try:
        shape = math.exp(float(brentq(apart, -3.0, 20.0, xtol=1e-14)))
    except ValueError:
        raise DecisionError(
            f"No gamma law has {likely} and {low} that far apart.", "likely, low",
            "judgements less far, or further, apart",
        ) from None  # fmt: skip
    return GammaPoisson(shape=shape, time=float(gammaincinv(shape, likely_chance)) * likely)
