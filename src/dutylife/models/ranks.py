"""Median ranks of failures, and a line drawn through them (rank regression)."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.checks import checked_lives, numbers
from dutylife.models.laws import Law, LifeLaw, standard_quantile
from dutylife.wording import count, number

Array = NDArray[np.float64]
Position = Literal["benard", "exact"]
Direction = Literal["age on rank", "rank on age"]


def median_ranks(n: int, position: Position = "exact", ranks: ArrayLike | None = None) -> Array:
    """Share failed at each rank of ``n`` lives, as its median.

    Parameters
    ----------
    n : int
    position : {"exact", "benard"}
        Median of the beta law of the order statistic, or (rank - 0.3) / (n + 0.4).
    ranks : array_like, optional
        1 to n by default; adjusted ranks may be fractions.

    Raises
    ------
    FitError
        Ranks out of range, or a position that is not known.
    """
    from scipy.special import betaincinv

    whole = float(n).is_integer() and n >= 1
    if ranks is not None:
        order = numbers(ranks, "ranks")
    else:
        order = np.arange(1.0, n + 1) if whole else np.zeros(0)
    if not whole or position not in ("exact", "benard") or not ((order > 0) & (order <= n)).all():
        raise FitError(
            f"No {position} ranks of {n} lives.", "median_ranks(n, position, ranks)",
            "n of 1 or more, ranks above 0 up to n, position 'exact' or 'benard'",
        )  # fmt: skip
    if position == "benard":
        found: Array = (order - 0.3) / (n + 0.4)
    else:
        found = betaincinv(order, n - order + 1.0, 0.5)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class RankFit:
    """A Weibull or lognormal line through the median ranks; ``points`` holds (age, share)."""

    direction: str
    position: str
    lives: tuple[tuple[float, bool, float, float], ...]
    points: tuple[tuple[float, float], ...]

    def _line(self, law: str) -> tuple[float, float, float]:
        """Location and spread of log age, and the squared correlation."""
        age, share = (np.array(v) for v in zip(*self.points, strict=True))
        x, y = np.log(age), standard_quantile(law, share)
        xx, yy = float(np.var(x)), float(np.var(y))
        xy = float(np.mean((x - x.mean()) * (y - y.mean())))
        spread = xy / yy if self.direction == "age on rank" else xx / xy
        return float(x.mean() - spread * y.mean()), spread, xy**2 / (xx * yy)

    def law(self, law: Law = "weibull") -> LifeLaw:
        """The line as a law, without a likelihood and so without bounds."""
        location, spread, _ = self._line(law)
        return LifeLaw(
            law=law,
            location=location,
            spread=spread,
            covariance=(math.nan, math.nan, math.nan),
            loglik=math.nan,
            n_lives=len(self.lives),
            n_failed=len(self.points),
            failures=float(len(self.points)),
            longest_life=max(row[0] for row in self.lives),
            lives=self.lives,
        )

    @property
    def shape(self) -> float:
        """Weibull shape of the line [1]."""
        return 1.0 / self._line("weibull")[1]

    @property
    def scale(self) -> float:
        """Weibull scale of the line [age]."""
        return math.exp(self._line("weibull")[0])

    @property
    def r_squared(self) -> float:
        """Squared correlation of the points on Weibull paper [1]."""
        return self._line("weibull")[2]

    @property
    def table(self) -> pd.DataFrame:
        """Points of the failures: columns age, share_failed."""
        return pd.DataFrame(list(self.points), columns=["age", "share_failed"])

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Line through {count(len(self.points), 'failure')} of "
            f"{count(len(self.lives), 'life', 'lives')}, {self.direction}: shape "
            f"{number(self.shape)}, scale {number(self.scale)}, r2 {number(self.r_squared)}."
        )


def rank_regression(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    position: Position = "benard",
    direction: Direction = "age on rank",
) -> RankFit:
    """Line of log age and median rank, lives that had not failed moving the ranks of later ones.

    Parameters
    ----------
    exit, event : array_like, shape (n,)
        As of `fit_law`.
    entry : array_like, optional
        Refused unless all 0: ranks can't take late entry.
    position : {"benard", "exact"}
    direction : {"age on rank", "rank on age"}
        Which is regressed on which; the usual one first.

    Returns
    -------
    RankFit

    Raises
    ------
    TooFewFailuresError
        Fewer than 2 failures at unlike ages.
    FitError
        Ages that can't stand, or late entry.

    Notes
    -----
    Adjusted ranks after Johnson (1964): each failure moves the rank by
    (n + 1 - rank before) / (1 + lives left). At one age failures come before survivors.
    """
    ages, failed, starts, _ = checked_lives(exit, event, entry, None)
    if (starts > 0).any() or direction not in ("age on rank", "rank on age"):
        raise FitError(
            f"{int((starts > 0).sum())} lives enter late, or direction '{direction}' is not known.",
            "rank_regression(entry=, direction=)",
            "use maximum likelihood for late entry; 'age on rank' or 'rank on age'",
        )
    order = np.lexsort((~failed, ages))
    n, rank = len(ages), 0.0
    ranks: list[float] = []
    for place, at in enumerate(order):
        if failed[at]:
            rank += (n + 1 - rank) / (1 + n - place)
            ranks.append(rank)
    if len(np.unique(ages[failed])) < 2:
        raise TooFewFailuresError(
            f"{count(int(failed.sum()), 'failure')} can't carry a line.", "rank_regression(event)",
            "2 failures or more at unlike ages",
        )  # fmt: skip
    shares = median_ranks(n, position, ranks)
    failures: Any = zip(ages[order][failed[order]].tolist(), shares.tolist(), strict=True)
    rows = zip(ages.tolist(), failed.tolist(), [0.0] * n, [1.0] * n, strict=True)
    return RankFit(
        direction=direction, position=position, lives=tuple(rows), points=tuple(failures)
    )
