"""Intervals as a shop writes them: in whole steps, inside what costs nearly the same."""

import math
from typing import NamedTuple

# a step is no more than this share of what is rounded, so that rounding costs next to nothing
SHARE = 0.1


class Rounded(NamedTuple):
    """A value and the step it is a multiple of, NaN where it stayed as it was."""

    value: float
    step: float


def rounded(
    best: float,
    lower: float,
    upper: float,
    steps: tuple[float, ...],
    *,
    ceiling: float = math.inf,
) -> Rounded:
    """Round to the largest step that is at most a tenth of it, inside a range.

    Parameters
    ----------
    best, lower, upper : float
        Value and the range it must stay in. [age]
    steps : tuple of float
        Steps the shop uses, in any order. Steps of more than a tenth are tried last, the smallest
        first; where no multiple lies in the range the value stays. [age]
    ceiling : float
        No value beyond it; it is itself a value one may be asked to keep. [age]

    Returns
    -------
    Rounded

    Examples
    --------
    >>> rounded(142.0, 110.0, 180.0, (5.0, 10.0, 25.0))
    Rounded(value=140.0, step=10.0)
    >>> rounded(31.0, 30.5, 32.0, (5.0, 10.0))
    Rounded(value=31.0, step=nan)
    """
    best, upper = min(best, ceiling), min(upper, ceiling)
    if best == ceiling:
        return Rounded(best, math.nan)
    fine = sorted((s for s in steps if s <= SHARE * best), reverse=True)
    for step in fine + sorted(s for s in steps if s > SHARE * best):
        below = math.floor(best / step) * step
        inside = [v for v in (below, below + step) if v > 0 and lower <= v <= upper]
        if inside:
            return Rounded(min(inside, key=lambda v: abs(v - best)), step)
    return Rounded(best, math.nan)
