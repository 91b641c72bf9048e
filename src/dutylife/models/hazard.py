"""Cumulative hazard (Nelson-Aalen) with late entry, its limits, two ways with ties."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import checked_lives
from dutylife.wording import count, number

Array = NDArray[np.float64]
Variance = Literal["poisson", "binomial"]
Ties = Literal["together", "one after another"]
COLUMNS = [
    "age", "at_risk", "n_events", "cumulative_hazard", "standard_error", "lower", "upper",
    "survival",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CumulativeHazard:
    """Failures to be expected by an age of one part renewed at each; a step for each age.

    ``steps`` holds the rows of ``table``.
    """

    level: float
    ties: str
    variance: str
    n_lives: int
    n_failed: int
    steps: tuple[tuple[float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """age, at_risk, n_events, cumulative_hazard, standard_error, lower, upper, survival."""
        return pd.DataFrame(list(self.steps), columns=COLUMNS)

    def at(self, ages: ArrayLike) -> Array:
        """Cumulative hazard at given ages, shape as ``ages``; held beyond the last step [1]."""
        table = self.table
        place = np.searchsorted(table["age"].to_numpy(), np.asarray(ages, float), side="right")
        held = np.concatenate([[0.0], table["cumulative_hazard"].to_numpy()])
        found: Array = held[place]
        return found

    @property
    def text(self) -> str:
        """One sentence."""
        last = self.steps[-1]
        if self.n_failed == 0:
            lives = count(self.n_lives, "life", "lives")
            return f"No failure in {lives} up to age {number(last[0])}: no hazard is told yet."
        return (
            f"{count(self.n_failed, 'failure')} in {count(self.n_lives, 'life', 'lives')}; by age "
            f"{number(last[0])} the cumulative hazard is {number(last[3])} "
            f"({100 * self.level:.0f} % range {number(last[5])} to {number(last[6])})."
        )


def nelson_aalen(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    ties: Ties = "together",
    variance: Variance = "poisson",
) -> CumulativeHazard:
    """Cumulative hazard of lives watched over (entry, exit].

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default.
    weights : array_like, shape (n,), optional
        Share of each row; 1 by default.
    level : float
        Confidence level of the limits, taken on the log scale. [1]
    ties : {"together", "one after another"}
        Failures at one age: d / n each time (Nelson-Aalen), or as if they came one after
        another, 1/n + 1/(n-1) + ... (Fleming and Harrington). The second asks for whole weights.
    variance : {"poisson", "binomial"}
        Sum of d / n^2 (Aalen), or of d (n - d) / n^3 (Klein, 1991; from memory), the smaller one,
        nearer the truth where few are at risk; failures one after another have d = 1 each.

    Returns
    -------
    CumulativeHazard
        ``survival`` in its table is exp(-cumulative hazard).

    Raises
    ------
    FitError
        Ages that can't stand, or an option that is not known.
    """
    known = ties in ("together", "one after another") and variance in ("poisson", "binomial")
    if not known or not 0 < level < 1:
        raise FitError(
            f"ties '{ties}' with variance '{variance}' at level {level} are not known.",
            "nelson_aalen(ties=, variance=, level=)",
            "ties are 'together' or 'one after another', variance is 'poisson' or 'binomial'; the "
            "level lies between 0 and 1",
        )
    ages, failed, starts, shares = checked_lives(exit, event, entry, weights, zero_allowed=True)
    at = np.unique(ages)
    at_risk = np.array([shares[(starts < a) & (ages >= a)].sum() for a in at])
    # a life of length 0 was watched at its only age
    at_risk[at == 0] = shares[(starts == 0)].sum()
    died = np.array([shares[(ages == a) & failed].sum() for a in at])
    if ties == "together":
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(died > 0, died / at_risk, 0.0)
            left = 1.0 if variance == "poisson" else (at_risk - died) / at_risk
            square = np.where(died > 0, died / at_risk**2 * left, 0.0)
    else:
        step, square = _one_by_one(died, at_risk, variance)
    hazard, error = np.cumsum(step), np.sqrt(np.cumsum(square))
    lower, upper = _limits(hazard, error, level)
    rows = zip(at, at_risk, died, hazard, error, lower, upper, np.exp(-hazard), strict=True)
    return CumulativeHazard(
        level=level,
        ties=ties,
        variance=variance,
        n_lives=len(ages),
        n_failed=int(failed.sum()),
        steps=tuple(tuple(float(v) for v in row) for row in rows),
    )


def _one_by_one(died: Array, at_risk: Array, variance: str) -> tuple[Array, Array]:
    if (died != np.round(died)).any():
        raise FitError(
            "Failures of a part of a weight can't come one after another.",
            "nelson_aalen(weights=, ties='one after another')",
            "give whole weights, or ties='together'",
        )
    terms = [1.0 / (n - np.arange(int(d))) for d, n in zip(died, at_risk, strict=True)]
    pull = 0.0 if variance == "poisson" else 1.0  # (m - 1) / m^3 for the failure of one of m
    squares = [(t**2 * (1.0 - pull * t)).sum() for t in terms]
    return np.array([t.sum() for t in terms]), np.array(squares)


def _limits(hazard: Array, error: Array, level: float) -> tuple[Array, Array]:
    from scipy.special import ndtri

    with np.errstate(divide="ignore", invalid="ignore"):
        width = np.where(hazard > 0, float(ndtri(0.5 + level / 2.0)) * error / hazard, 0.0)
    return hazard * np.exp(-width), hazard * np.exp(width)
