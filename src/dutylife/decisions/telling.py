"""What record would settle whether a machine is kept or retired, and about how long it takes."""

import numpy as np
import numpy.typing as npt

from dutylife import wording
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
_MOST_YEARS = 5.0  # of further record; a machine of the shop is another one by then
_ALIKE = 0.05  # a difference below this share of a new one's cost decides nothing


def would_tell(
    with_plan: Array, instead: Array, factor: Array, *, level: float, watched_years: float,
    expected: float, equipment_class: str, has_price: bool, duty: str,
) -> str:  # fmt: skip
    """Say what would settle a machine's advice.

    Parameters
    ----------
    with_plan : ndarray, shape (n,)
        Cost of its coming year by draw of the laws. [currency]
    instead : ndarray, shape (n,)
        Yearly cost of a new one by the same draws. [currency]
    factor : ndarray, shape (n,)
        Its own failures over what its duties' laws expect, by draw.
    level : float
        Chance a verdict asks for.
    watched_years : float
        Length of its record.
    expected : float
        Failures its laws expect in that record, the fleet as a whole taken as they say.
    equipment_class, duty : str
    has_price : bool
        Whether a price of a new machine like it is stated.

    Returns
    -------
    str
        What to record, and about how long.

    Notes
    -----
    A verdict needs a mean difference of z standard deviations, z the normal quantile of ``level``.
    What the machine's own failures leave open shrinks as one over what is watched (gamma-Poisson),
    what the laws leave open stays: it shrinks with the failures of the duty. Normal, so rough: our
    approximation.
    """
    from scipy.stats import norm

    if not has_price:
        return f"a price of a new {equipment_class or 'machine'}: [replacement_price], today"
    apart = with_plan - instead
    gap = abs(float(apart.mean()))
    if gap < _ALIKE * float(instead.mean()):
        return (
            "no record: one more year and a new one cost about the same; decide by what else "
            "matters"
        )
    if level <= 0.5:  # any odds settle it
        return "a few more months with every failure and its hours written down"
    needed = (gap / float(norm.ppf(level))) ** 2
    whole = float(apart.var())
    slope = float(np.polyfit(factor, apart, 1)[0]) if factor.std() > 0 else 0.0
    own = min(slope**2 * float(factor.var()), whole)
    laws = whole - own
    if whole <= needed:  # the odds are nearly there
        return "a few more months with every failure and its hours written down"
    if laws >= needed or expected <= 0 or watched_years <= 0:
        return (
            f"more failures of its kind in {duty} with hours and reason on each ticket: this "
            "machine alone can't settle it"
        )
    # of a gamma factor mean / variance is its rate, to which each expected failure adds one
    rate = float(factor.mean() / factor.var())
    more = (own / (needed - laws) - 1) * rate
    years = more / (expected / watched_years)
    if years > _MOST_YEARS:
        return (
            f"more than {_MOST_YEARS:.0f} years of its own record: look at it again when something "
            "large fails"
        )
    return (
        f"about {wording.weeks(max(years, 1 / 6) * DAYS_PER_YEAR)} more of its own record: each "
        "failure with date, hours, reason, and days lost"
    )
