"""Share still working when ages of failure are known between two looks only (Turnbull)."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import first_rows, numbers
from dutylife.wording import count, number

Array = NDArray[np.float64]
Intervals = Literal["(lower, upper]", "closed"]
MOST_STEPS = 500
GAP = 1e-10  # of the likelihood's slope, relative to the lives: how far from the maximum


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalCurve:
    """Mass of failures in each stretch of age in which the data can place any.

    ``masses`` holds (lower, upper, mass, survival after it); where in a stretch the mass lies
    can't be told, so survival is known outside the stretches only.
    """

    n_lives: float
    loglik: float
    masses: tuple[tuple[float, float, float, float], ...]

    @property
    def table(self) -> pd.DataFrame:
        """Columns lower, upper, mass, survival (after the stretch)."""
        return pd.DataFrame(list(self.masses), columns=["lower", "upper", "mass", "survival"])

    def survival_at(self, ages: ArrayLike) -> Array:
        """Survival at given ages, shape as ``ages``; ``nan`` inside a stretch with mass [1]."""
        wanted = np.asarray(ages, dtype=float)
        out = np.ones_like(wanted)
        for lower, upper, mass, after in self.masses:
            out = np.where(wanted >= upper, after, out)
            if mass > 0:
                out = np.where((wanted > lower) & (wanted < upper), np.nan, out)
        return out

    @property
    def text(self) -> str:
        """One sentence."""
        ends = [m for m in self.masses if np.isfinite(m[1])]
        if not ends:
            return f"{count(int(self.n_lives), 'life', 'lives')}, none known to have failed."
        _, upper, _, after = ends[-1]
        return (
            f"{count(int(self.n_lives), 'life', 'lives')} looked at from time to time; by age "
            f"{number(upper)} {number(100 * after)} % still work."
        )


def turnbull(
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    intervals: Intervals = "(lower, upper]",
) -> IntervalCurve:
    """Nonparametric maximum likelihood of lives known to have ended between two ages.

    Parameters
    ----------
    lower : array_like, shape (n,)
        Last age at which the part was known to work; 0 where it was never seen to.
    upper : array_like, shape (n,)
        First age at which it was known to have failed: equal to ``lower`` for an age known
        exactly, ``inf`` or missing where it had not failed when last seen.
    weights : array_like, shape (n,), optional
        Lives in each row; 1 by default, 0 leaves the row out.
    intervals : {"(lower, upper]", "closed"}
        Whether a failure at just the lower age is ruled out.

    Returns
    -------
    IntervalCurve

    Raises
    ------
    FitError
        Bounds that can't stand, or a likelihood that did not settle.

    Notes
    -----
    The self-consistent masses of Turnbull (JRSS B 38, 1976); the search ends when the slope of
    the likelihood says that no mass can be better placed, to 1e-10 of the lives.
    """
    low, high, share = _checked(lower, upper, weights, intervals)
    # an end of an interval as (age, 1 if just after it)
    exact = low == high
    after = np.where(exact | (intervals == "closed"), 0, 1)
    starts = np.stack([low, after.astype(float)], axis=1)
    ends = np.stack([high, np.zeros(len(high))], axis=1)
    places = _innermost(starts, ends)
    inside = _at_or_before(starts, places[:, :2]) & _at_or_before(places[:, 2:], ends).T
    rows, which = np.unique(inside, axis=0, return_inverse=True)
    lives = np.bincount(which.ravel(), weights=share, minlength=len(rows)).astype(float)
    mass = _maximum(rows.astype(float), lives)
    kept = mass > 0
    left = np.clip(1.0 - np.cumsum(mass), 0.0, 1.0)
    left = np.where(left < 1e-12, 0.0, left)
    table = zip(places[kept, 0], places[kept, 2], mass[kept], left[kept], strict=True)
    chance = rows @ mass
    return IntervalCurve(
        n_lives=float(share.sum()),
        loglik=float(lives @ np.log(chance)),
        masses=tuple((float(a), float(b), float(m), float(s)) for a, b, m, s in table),
    )


def _checked(
    lower: ArrayLike, upper: ArrayLike, weights: ArrayLike | None, intervals: str
) -> tuple[Array, Array, Array]:
    low, high = numbers(lower, "lower"), numbers(upper, "upper")
    share = np.ones(len(low)) if weights is None else numbers(weights, "weights")
    if intervals not in ("(lower, upper]", "closed"):
        raise FitError(
            f"intervals '{intervals}' are not known.", "turnbull(intervals=)",
            "'(lower, upper]' or 'closed'",
        )  # fmt: skip
    if not len(low) or len({len(low), len(high), len(share)}) > 1:
        raise FitError(
            "No lives were given, or the columns differ in length.",
            f"lower {len(low)}, upper {len(high)}, weights {len(share)}",
            "give one lower, upper and weight for each row",
        )
    low = np.where(np.isnan(low), 0.0, low)
    high = np.where(np.isnan(high), np.inf, high)
    faults = [
        ("a negative or infinite lower age", (low < 0) | ~np.isfinite(low)),
        ("an upper age below the lower", high < low),
        ("a weight below 0 or missing", ~(np.isfinite(share) & (share >= 0))),
    ]
    told = [
        f"{int(bad.sum())} rows have {what} (rows {first_rows(bad)})"
        for what, bad in faults
        if bad.any()
    ]
    used = share > 0
    if told or not used.any():
        raise FitError(
            "; ".join(told) or "Every weight is 0.", "turnbull(lower, upper, weights=)",
            "correct those rows or leave them out",
        )  # fmt: skip
    return low[used], high[used], share[used]


def _innermost(starts: Array, ends: Array) -> Array:
    """Stretches from a start to the next end with no start between: start key, end key."""
    keys = np.concatenate([starts, ends])
    is_end = np.concatenate([np.zeros(len(starts)), np.ones(len(ends))])
    order = np.lexsort((is_end, keys[:, 1], keys[:, 0]))
    keys, is_end = keys[order], is_end[order]
    here = np.flatnonzero((is_end[:-1] == 0) & (is_end[1:] == 1))
    found = np.concatenate([keys[here], keys[here + 1]], axis=1)
    unlike: Array = np.unique(found, axis=0)
    return unlike


def _at_or_before(first: Array, second: Array) -> NDArray[np.bool_]:
    """Whether key i of the first is at or before key j of the second, shape (n, m)."""
    a, b = first[:, None, :], second[None, :, :]
    found: NDArray[np.bool_] = (a[..., 0] < b[..., 0]) | (
        (a[..., 0] == b[..., 0]) & (a[..., 1] <= b[..., 1])
    )
    return found


def _maximum(inside: Array, lives: Array) -> Array:
    """Masses that make the likelihood largest; rows of ``inside`` are kinds of lives.

    Each step takes the best masses of the quadratic about the last ones, none below 0 and 1 in
    all (Wang, Computational Statistics and Data Analysis 52, 2008, solved as a least squares
    problem after Dax), and goes part of the way where the whole way overshoots.
    """
    from scipy.optimize import nnls

    n = lives.sum()
    root = np.sqrt(lives)
    mass = np.full(inside.shape[1], 1.0 / inside.shape[1])
    value = _value(inside, lives, mass)
    for _ in range(MOST_STEPS):
        pull = inside / (inside @ mass)[:, None]
        slope = lives @ pull
        # at the maximum every slope is n where there is mass, and nowhere more
        if slope.max() <= n * (1.0 + GAP):
            return mass
        rows = np.vstack([root[:, None] * (pull - 2.0), np.ones(len(mass))])
        goal = np.append(np.zeros(len(root)), 1.0)
        best, _ = nnls(rows, goal, maxiter=50 * len(mass))
        step = best / best.sum() - mass
        share, risen = 1.0, False
        while share > 1e-10 and not risen:
            ahead = mass + share * step
            reached = _value(inside, lives, ahead)
            risen = reached > value
            share /= 2.0
        if not risen:  # as high as numbers of this length can tell
            break
        mass, value = np.clip(ahead, 0.0, None), reached
    if slope.max() > n * (1.0 + 1e3 * GAP):
        raise FitError(
            f"The masses did not settle: a slope is {slope.max() / n - 1.0:.1e} too steep.",
            "turnbull(lower, upper)",
            "round the ages to whole hours or days, so that fewer stretches differ",
        )
    return mass


def _value(inside: Array, lives: Array, mass: Array) -> float:
    with np.errstate(divide="ignore", invalid="ignore"):
        found = float(lives @ np.log(inside @ mass))
    return found if np.isfinite(found) else -np.inf
