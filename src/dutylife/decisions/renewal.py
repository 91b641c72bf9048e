"""Renewal function: how many failures to expect when each failed part is replaced by a new one."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.life import Life, life_of, panel_means
from dutylife.errors import DecisionError
from dutylife.wording import number

Array = npt.NDArray[np.float64]
_START, _LIMIT = 64, 2**14
_BAND = 16.0  # ages within this ratio share one net of steps


@dataclass(frozen=True, slots=True, kw_only=True)
class RenewalFunction:
    """Expected renewals by age.

    Parameters
    ----------
    ages : tuple of float
        [age, or periods for chances by period]
    expected : tuple of float
        Expected renewals by each age, the part fitted at age 0 not counted. [1]
    errors : tuple of float
        How far the last refinement still moved each figure. [1]
    mean, sd : float
        Of one life. [age]
    asymptotes : tuple of float
        age / mean + (sd ** 2 / mean ** 2 - 1) / 2, which the figure nears with age; missing where
        the life has no spread or the first life is another. [1]
    """

    ages: tuple[float, ...]
    expected: tuple[float, ...]
    errors: tuple[float, ...]
    mean: float
    sd: float
    asymptotes: tuple[float, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Columns age, expected, error, asymptote."""
        return pd.DataFrame(
            {"age": self.ages, "expected": self.expected, "error": self.errors,
             "asymptote": self.asymptotes}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Expect {number(self.expected[-1])} renewals by age {number(self.ages[-1], 4)} (mean "
            f"life {number(self.mean, 4)}), each failed part replaced by a new one at once."
        )


def renewal_function(
    life: Any, age: npt.ArrayLike, *, first_life: Any = None, tolerance: float = 1e-8
) -> RenewalFunction:
    """Expected renewals by age, M(t) = F(t) + integral of F(t - x) dM(x), for any law of life.

    Parameters
    ----------
    life : Life, fitted law, frozen scipy law, callable or array_like, shape (n,)
        `known_life`, anything with ``survival(age)`` or ``sf(age)``, a survival function, or the
        chances to fail in period 1, 2, ... n, which sum to at most 1.
    age : array_like, shape (m,)
        Ages wanted; whole periods with chances by period. [age]
    first_life : as ``life``, optional
        Life of the part in place at age 0 where it is another (a used one, say).
    tolerance : float
        The relative change below which refining stops. [1]

    Returns
    -------
    RenewalFunction

    Raises
    ------
    DecisionError
        A life that can't be read, an age below 0, or steps too steep for the tolerance.

    Notes
    -----
    Renewals are taken as evenly spread within each step, the law by its exact mean over it; steps
    are halved and the sequence extrapolated (Aitken) until the change is below ``tolerance``. The
    equation is solved exactly for chances by period.

    References
    ----------
    D. R. Cox, Renewal Theory (from memory): M(t) = t/2 - (1 - exp(-2t))/4 for two exponential
    stages of rate 1. Tables of Soland (1968) set the mean life to 1: ``known_life(..., mean=1)``.

    Examples
    --------
    >>> from scipy.stats import gamma
    >>> renewal_function(gamma(2), [1, 2]).table["expected"].round(6).tolist()
    [0.283834, 0.754579]
    """
    ages = np.atleast_1d(np.asarray(age, dtype=float))
    if ages.size == 0 or not np.all((ages >= 0) & np.isfinite(ages)):
        raise DecisionError("Every age must be 0 or more and finite.", "age", "give positive ages")
    if not 0 < tolerance < 1:
        raise DecisionError(f"A tolerance of {tolerance} can't be.", "tolerance", "1e-8, say")
    if _is_chances(life):
        return _by_period(life, ages, first_life)
    law = life_of(life)
    first = law if first_life is None else life_of(first_life)
    expected: Array = np.zeros(ages.shape)
    errors: Array = np.zeros(ages.shape)
    at_zero = first.failed(np.zeros(1))[0] / (1 - law.failed(np.zeros(1))[0])
    expected[ages == 0] = at_zero
    left = ages > 0
    while left.any():
        top = ages[left].max()
        band = left & (ages > top / _BAND)
        expected[band], errors[band] = _refined(law, first, ages[band], tolerance)
        left &= ~band
    near = np.full(ages.shape, np.nan)
    if first_life is None and math.isfinite(law.sd):
        near = ages / law.mean + ((law.sd / law.mean) ** 2 - 1) / 2
    return RenewalFunction(
        ages=tuple(ages.tolist()),
        expected=tuple(expected.tolist()),
        errors=tuple(errors.tolist()),
        mean=law.mean,
        sd=law.sd,
        asymptotes=tuple(near.tolist()),
    )


def on_steps(law: Life, first: Life, end: float, n: int) -> tuple[Array, Array]:
    """Edges of ``n`` even steps to ``end``, and the expected renewals by each, both (n + 1,)."""
    edges = np.linspace(0.0, end, n + 1)
    means = panel_means(law.failed, edges, panels=2) * n / end
    backwards = np.ascontiguousarray(means[::-1])
    by_first, by_law = first.failed(edges), law.failed(edges)
    at_zero = by_first[0] / (1 - by_law[0])
    start = by_first + at_zero * by_law
    rise, total = np.zeros(n + 1), at_zero
    out = np.full(n + 1, at_zero)
    for i in range(1, n + 1):
        earlier = rise[1:i] @ backwards[n - i : n - 1]
        rise[i] = (start[i] - total + earlier) / (1 - means[0])
        total += rise[i]
        out[i] = total
    return edges, out


def _refined(law: Life, first: Life, ages: Array, tolerance: float) -> tuple[Array, Array]:
    """Expected renewals by ages within one band, and the last change of each."""
    from scipy.interpolate import CubicSpline

    end, n = float(ages.max()), _START
    seen: list[Array] = []
    best, change = np.zeros(ages.shape), np.full(ages.shape, np.inf)
    while n <= _LIMIT:
        seen.append(np.asarray(CubicSpline(*on_steps(law, first, end, n))(ages), dtype=float))
        if len(seen) >= 3:
            sharper = _extrapolated(seen)
            change = np.abs(sharper - best)
            best = sharper
            if np.all(change <= tolerance * np.abs(best) + 1e-14):
                return best, change
        n *= 2
    raise DecisionError(
        f"The renewals by age {end} still move by {change.max():.1e} at {_LIMIT} steps.",
        "renewal_function(life, age, tolerance=)",
        "give a larger tolerance; for a law that jumps, chances by period",
    )


def _extrapolated(seen: list[Array]) -> Array:
    """Limit of a sequence with several steady errors: each pass takes the largest away."""
    row = seen[-5:]
    while len(row) >= 3:
        row = [aitken(*row[i : i + 3]) for i in range(len(row) - 2)]
    return row[-1]


def aitken(first: Array, second: Array, third: Array) -> Array:
    """Limit of a sequence whose changes shrink by a steady ratio, from three terms."""
    before, after = second - first, third - second
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = after / before
        limit = third + after * ratio / (1 - ratio)
    steady = (ratio > 0) & (ratio < 0.7) & np.isfinite(limit)
    return np.where(steady, limit, third)


def _is_chances(life: Any) -> bool:
    return isinstance(life, list | tuple | np.ndarray | pd.Series)


def chances_by_period(life: Any, where: str) -> Array:
    """Chances to fail in period 1, 2, ...; raise `DecisionError` where they can't be that."""
    chance = np.asarray(life, dtype=float)
    good = chance.ndim == 1 and chance.size and np.all(chance >= 0) and chance.sum() <= 1 + 1e-9
    if not good or chance.sum() == 0:
        raise DecisionError(
            "Chances to fail by period must be 0 or more and sum to at most 1.",
            where,
            "give the share failing in period 1, 2, ...",
        )
    return chance


def renewals_by_period(chance: Array, first: Array, n: int) -> Array:
    """Expected renewals in each of the periods 1 to ``n``, shape (n,)."""
    in_period = np.zeros(n + 1)
    for i in range(1, n + 1):
        own = first[i - 1] if i <= len(first) else 0.0
        k = min(i - 1, len(chance))
        in_period[i] = own + chance[:k] @ in_period[i - 1 : i - 1 - k : -1] if k else own
    return in_period[1:]


def _by_period(life: Any, ages: Array, first_life: Any) -> RenewalFunction:
    chance = chances_by_period(life, "life")
    first = chance if first_life is None else chances_by_period(first_life, "first_life")
    if np.any(ages != np.floor(ages)):
        raise DecisionError(
            "Ages must be whole periods where chances by period are given.", "age", "round them"
        )
    total = np.concatenate([[0.0], np.cumsum(renewals_by_period(chance, first, int(ages.max())))])
    sure = abs(chance.sum() - 1) < 1e-9
    period = np.arange(1, len(chance) + 1)
    mean = float(chance @ period) if sure else math.inf
    sd = math.sqrt(max(float(chance @ period**2) - mean**2, 0.0)) if sure else math.inf
    return RenewalFunction(
        ages=tuple(ages.tolist()),
        expected=tuple(total[ages.astype(int)].tolist()),
        errors=tuple([0.0] * len(ages)),
        mean=mean,
        sd=sd,
        asymptotes=tuple([math.nan] * len(ages)),
    )


Curve = Callable[[Array], Array]


def renewal_curve(life: Any, longest: float, tolerance: float = 1e-7) -> Curve:
    """Expected renewals as a curve of age up to ``longest``, solved once and interpolated."""
    from scipy.interpolate import PchipInterpolator

    ages = np.linspace(0.0, longest, 601)[1:]
    found = renewal_function(life, ages, tolerance=tolerance)
    at_zero = renewal_function(life, [0.0]).expected
    curve = PchipInterpolator(np.concatenate([[0.0], ages]), [*at_zero, *found.expected])
    return lambda age: np.asarray(curve(age), dtype=float)
