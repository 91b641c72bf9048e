"""How often a failure of a component is announced by a complaint: near cases first, then far."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
FAR_CASES = 6.0  # expected failures that farther cases are worth at most; our proposal
POINTED = 0.25  # of a component's failures, where the lexicon points to it; our proposal
START_CASES = 1.0  # expected failures that the start is worth; our proposal
BY_CHANCE = 1.0  # like complaints due to whatever failed, by frequency; our proposal


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """Cases of one ring around the machine, nearer rings left out.

    Parameters
    ----------
    n : ndarray, shape (n_components,)
        Failures announced by the complaint. [1]
    expected : ndarray, shape (n_components,)
        Failures there, however announced, by the laws. [1]
    """

    n: Array
    expected: Array


def announced(
    pointed: Flags, wide: Level, step: float, rings: Sequence[Level]
) -> tuple[Array, Array]:
    """Share of each component's failures that are announced by the complaint.

    Parameters
    ----------
    pointed : ndarray of bool, shape (n_components,)
        The lexicon points to it.
    wide : Level
        Complaints that point to the same components in other words.
    step : float
        Complaints of these words over those of other words. [1]
    rings : sequence of Level
        From far to near: fleet, class, duty.

    Returns
    -------
    tuple of ndarray, shape (n_components,)
        Mean share and the expected failures it is worth; their product is the shape of a gamma law.

    Notes
    -----
    Failures announced are Poisson around share x expected failures, the share is gamma
    (gamma-Poisson shrinkage). Each ring hands its gamma on to the next, worth at most `FAR_CASES`
    expected failures: far cases lead where near ones are few and fade as these come in. Any
    component may be told by any words (several faults at once, a cause coded wrongly): `BY_CHANCE`
    cases in all are added, as many to each as it fails. Words never heard before that point
    nowhere thus leave the order to the age of the parts.
    """
    start = np.where(pointed, POINTED, 0.0)
    mean, worth = _taken(start, np.full_like(start, START_CASES), wide)
    mean = mean * step
    for ring in rings:
        mean, worth = _taken(mean, np.minimum(worth, FAR_CASES), ring)
    everywhere = sum(float(ring.expected.sum()) for ring in rings)
    return mean + BY_CHANCE / max(everywhere, 1.0), worth


def _taken(mean: Array, worth: Array, level: Level) -> tuple[Array, Array]:
    after = worth + level.expected
    return (mean * worth + level.n) / after, after


def shares(mean: Array, worth: Array, risk: Array, cv: Array, level: float) -> tuple[Array, ...]:
    """Chance of each component to be the cause, with its range.

    Parameters
    ----------
    mean, worth : ndarray, shape (n_components,)
        From `announced`.
    risk : ndarray, shape (n_components,)
        Failures a day now. [1/d]
    cv : ndarray, shape (n_components,)
        Coefficient of variation of the risk. [1]
    level : float
        Of the range. [1]

    Returns
    -------
    tuple of ndarray, shape (n_components,)
        Chance, lower and upper end. They add up to 1 over the components.

    Notes
    -----
    By Bayes the chance goes with share announced x risk now. The range is that of the beta law
    with the same mean and variance, the variance by the delta method.
    """
    from scipy.special import betaincinv

    weight = np.maximum(mean * risk, 1e-12 * max(float((mean * risk).max()), 1e-300))
    total = float(weight.sum())
    chance = weight / total
    variance = weight**2 * (1 / np.maximum(mean * worth, 1e-3) + cv**2)
    of_others = variance.sum() - variance
    spread = ((1 - chance) ** 2 * variance + chance**2 * of_others) / total**2
    cases = np.clip(chance * (1 - chance) / np.maximum(spread, 1e-12) - 1, 0.5, 1e6)
    a, b = np.maximum(chance * cases, 1e-6), np.maximum((1 - chance) * cases, 1e-6)
    tail = (1 - level) / 2
    # of a law that leans far to one side the mean may lie outside
    low = np.minimum(betaincinv(a, b, tail), chance)
    return chance, low, np.maximum(betaincinv(a, b, 1 - tail), chance)


def counted_range(n: Array, total: float, level: float) -> tuple[Array, Array]:
    """Range of a share counted n times of a total: beta law with half a case added to each side.

    Jeffreys interval (Brown, Cai, DasGupta: Interval estimation for a binomial proportion,
    Statistical Science 16, 2001; from memory).

    Examples
    --------
    >>> low, high = counted_range(np.array([9.0]), 23.0, 0.9)
    >>> round(float(low[0]), 2), round(float(high[0]), 2)
    (0.24, 0.56)
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    a, b = n + 0.5, total - n + 0.5
    return np.where(n > 0, betaincinv(a, b, tail), 0.0), betaincinv(a, b, 1 - tail)
