"""Chi-square bounds of an exponential law: exact, and the only ones where nothing has failed."""

import math
from typing import TYPE_CHECKING, Literal, get_args

from dutylife.errors import FitError

if TYPE_CHECKING:
    from dutylife.models.laws import LifeLaw

Ended = Literal["time", "failure"]


def total_time(law: "LifeLaw") -> float:
    """Time lived under watch by all lives, each with its weight [age]."""
    return math.fsum(weight * (exit_ - entry) for exit_, _, entry, weight in law.lives)


def mean_limits(
    total: float, failures: float, level: float, ended: Ended = "time"
) -> tuple[float, float]:
    """Two-sided limits of an exponential mean from its total time and failures.

    Parameters
    ----------
    total : float
        Time lived under watch by all lives. [age]
    failures : float
    level : float
        Level of the two-sided range: each end is passed by (1 - level) / 2. [1]
    ended : {"time", "failure"}
        Watching ended at a set time: lower limit 2 T / chi-square(2 r + 2 degrees), at least as
        sure as its level; or with the last failure: 2 r degrees on both sides, exact.

    Returns
    -------
    lower, upper : float
        Without a failure the upper limit is infinite.

    Raises
    ------
    FitError
        No failure where watching is said to have ended with one.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1 (from memory). Without
    failures the lower limit is T / -log(chance left on that side).
    """
    from scipy.special import gammaincinv

    if failures == 0 and ended == "failure":
        raise FitError(
            "Nothing has failed, so watching can't have ended with a failure.",
            "LifeLaw.bounds(ended=)", "leave ended at 'time'",
        )  # fmt: skip
    out = (1.0 - level) / 2.0
    # a chi-square quantile of k degrees is twice the gamma quantile of shape k / 2
    most = float(gammaincinv(failures + (ended == "time"), 1.0 - out))
    least = float(gammaincinv(failures, out)) if failures > 0 else 0.0
    return total / most, total / least if least > 0 else math.inf


def limits(law: "LifeLaw", what: str, level: float, ended: Ended) -> tuple[float, float]:
    """Limits of ``scale``, ``mean``, ``b10`` or ``b50`` of an exponential law; see `mean_limits`.

    Raises
    ------
    FitError
        Another law, or lives known between two ages only.
    """
    between = law.rows is not None and bool(law.rows.between.any())
    if law.law != "exponential" or between or ended not in get_args(Ended):
        raise FitError(
            f"There are no chi-square bounds of a {law.law} law"
            f"{' of lives known between two ages' if between else ''} with ended '{ended}'.",
            "LifeLaw.bounds(kind='chi-square', ended=)",
            "they are of an exponential law of exact ages, ended 'time' or 'failure'; else ask "
            "for kind 'likelihood ratio'",
        )
    # every age of this law is a multiple of its mean
    share = {"scale": 1.0, "mean": 1.0, "b10": -math.log(0.9), "b50": math.log(2.0)}[what]
    low, high = mean_limits(total_time(law), law.failures, level, ended)
    return share * low, share * high
