"""From simulated years to an expected figure, how far it is known, and what one year may bring."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.comparison.year import Size
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Expected figure of a year.

    ``lower`` and ``upper`` bound the expectation: what is not known of the laws. ``year_lower``
    and ``year_upper`` bound a single year: chance on top. Missing where it can't be told.
    """

    value: float
    lower: float
    upper: float
    year_lower: float
    year_upper: float


def figure_of(
    total: Array, size: Size, level: float, horizon_days: float = DAYS_PER_YEAR
) -> Figure:  # fmt: skip
    """Figure a year of a total over machines.

    Parameters
    ----------
    total : ndarray, shape (n_simulations,)
        Group by group, each under one draw of the laws.
    size : Size
    level : float
        Of both ranges. [1]
    horizon_days : float
        Span of the simulation. [d]

    Notes
    -----
    Means of groups scatter by the laws and by the chance left in them. Their scatter is shrunk to
    what the laws explain (analysis of variance) and one standard error of that, so that the range
    of the expectation does not grow with the chance of few simulations, nor closes where chance is
    all there is.
    """
    if not np.isfinite(total).all():
        nan = float("nan")
        return Figure(value=nan, lower=nan, upper=nan, year_lower=nan, year_upper=nan)
    yearly = total * (DAYS_PER_YEAR / horizon_days)
    tails = ((1 - level) / 2, (1 + level) / 2)
    expected = expected_by_law(yearly, size)
    low, high = np.quantile(expected, tails)
    year_low, year_high = np.quantile(yearly, tails)
    return Figure(
        value=float(yearly.mean()),
        lower=float(low),
        upper=float(high),
        year_lower=float(year_low),
        year_upper=float(year_high),
    )


def expected_by_law(yearly: Array, size: Size) -> Array:
    """Expected figure under each draw of the laws, shape (..., n_groups), chance shrunk away."""
    grouped = yearly.reshape(*yearly.shape[:-1], size.n_groups, size.per_group)
    means = grouped.mean(axis=-1)
    middle = means.mean(axis=-1, keepdims=True)
    between = means.var(axis=-1, ddof=1, keepdims=True)
    if size.per_group > 1:
        chance = grouped.var(axis=-1, ddof=1).mean(axis=-1, keepdims=True) / size.per_group
    else:
        chance = np.zeros_like(between)
    with np.errstate(invalid="ignore", divide="ignore"):
        # the laws' share is itself known to within the scatter of a variance of n groups
        slack = chance * np.sqrt(2 / (size.n_groups - 1))
        kept = np.sqrt(np.clip((np.maximum(between - chance, 0.0) + slack) / between, 0.0, 1.0))
    return np.asarray(middle + np.nan_to_num(kept) * (means - middle))
