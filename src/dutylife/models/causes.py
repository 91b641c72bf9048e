"""Share failed by an age from each cause, the causes competing (Aalen-Johansen)."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import checked_lives
from dutylife.wording import count, number

Array = NDArray[np.float64]
Variance = Literal["delta", "jackknife", "aalen"]
COLUMNS = [
    "cause", "age", "at_risk", "n_events", "incidence", "standard_error", "lower", "upper",
    "event_free", "event_free_standard_error",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseCurves:
    """Cumulative incidence of each cause; ``steps`` holds the rows of ``table``."""

    level: float
    variance: str
    n_lives: int
    causes: tuple[str, ...]
    steps: tuple[tuple[str | float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """A row for each cause and each age at which a life ended; see `aalen_johansen`."""
        return pd.DataFrame(list(self.steps), columns=COLUMNS)

    def incidence_at(self, cause: str | int, ages: ArrayLike) -> Array:
        """Share failed from a cause by given ages, shape as ``ages`` [1].

        Raises
        ------
        FitError
            No life ended from that cause.
        """
        if str(cause) not in self.causes:
            raise FitError(
                f"No life ended from '{cause}'.", "CauseCurves.incidence_at(cause)",
                "one of: " + ", ".join(self.causes),
            )  # fmt: skip
        rows = self.table
        rows = rows[rows["cause"] == str(cause)]
        place = np.searchsorted(rows["age"].to_numpy(), np.asarray(ages, float), side="right")
        found: Array = np.concatenate([[0.0], rows["incidence"].to_numpy()])[place]
        return found

    @property
    def text(self) -> str:
        """One sentence."""
        last = self.table.groupby("cause", sort=False).tail(1)
        shares = ", ".join(
            f"{number(100 * i)} % from {c}"
            for c, i in zip(last["cause"], last["incidence"], strict=True)
        )
        age = number(float(last["age"].max()))
        return f"{count(self.n_lives, 'life', 'lives')}; failed by age {age}: {shares}."


def aalen_johansen(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    variance: Variance = "delta",
) -> CauseCurves:
    """Cumulative incidence of competing causes of lives watched over (entry, exit].

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    cause : array_like, shape (n,)
        Cause of the failure, a word or a whole number; 0, blank or missing where the life had
        not failed.
    entry, weights : array_like, shape (n,), optional
        As of `kaplan_meier`.
    level : float
        Confidence level of the limits, on the log-log scale. [1]
    variance : {"delta", "jackknife", "aalen"}
        Delta method (as lifelines; Marubini and Valsecchi), infinitesimal jackknife (as R
        survival), or Aalen's formula with divisor n - 1 (1978; that of Gray's tests too; from
        memory), the widest in small records and missing once the last life at risk has failed.

    Returns
    -------
    CauseCurves
        Table by cause and age: at_risk, n_events, incidence with error and limits, event_free
        (share of lives that ended from no cause) with its error (the jackknife's, or else
        Greenwood's).

    Raises
    ------
    FitError
        Ages that can't stand, an option that is not known, or no failure at all.

    Notes
    -----
    Ages shared by several lives need no shift: failures of all causes at one age come together.
    """
    if variance not in ("delta", "jackknife", "aalen") or not 0 < level < 1:
        raise FitError(
            f"variance '{variance}' at level {level} is not known.",
            "aalen_johansen(variance=, level=)",
            "variance is 'delta', 'jackknife' or 'aalen'; the level lies between 0 and 1",
        )
    words = np.array([_word(c) for c in np.atleast_1d(np.asarray(cause, dtype=object))])
    ages, failed, starts, shares = checked_lives(
        exit, words != "", entry, weights, zero_allowed=True
    )
    names = sorted({str(w) for w in words[failed]})
    if not names:
        raise FitError(
            "No life ended from any cause.", "aalen_johansen(cause)",
            "wait for failures, or give their causes",
        )  # fmt: skip
    at = np.unique(ages)
    watched = (starts[:, None] < at) & (ages[:, None] >= at)
    watched |= (starts[:, None] == 0) & (at == 0)
    at_risk = shares @ watched
    ended = (ages[:, None] == at) & failed[:, None]
    by_cause = np.stack([shares @ (ended & (words == n)[:, None]) for n in names])
    died = by_cause.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(died > 0, died / at_risk, 0.0)
        parts = np.where(by_cause > 0, by_cause / at_risk, 0.0)
    free = np.cumprod(1.0 - hazard)
    before = np.concatenate([[1.0], free[:-1]])
    incidence = np.cumsum(before * parts, axis=1)
    if variance != "jackknife":
        one = _delta if variance == "delta" else _aalen
        error = np.stack([one(i, b, died, at_risk, before)
                          for i, b in zip(incidence, by_cause, strict=True)])  # fmt: skip
        with np.errstate(divide="ignore", invalid="ignore"):
            steps = np.where(died > 0, died / (at_risk * (at_risk - died)), 0.0)
            free_error = np.where(free > 0, free * np.sqrt(np.cumsum(steps)), np.nan)
    else:
        kinds = np.stack([ended & (words == n)[:, None] for n in names])
        error, free_error = _jackknife(kinds, watched, parts, hazard, before, at_risk, shares)
    lower, upper = _limits(incidence, error, level)
    steps_made: list[tuple[str | float, ...]] = []
    for k, name in enumerate(names):
        columns = (
            at, at_risk, by_cause[k], incidence[k], error[k], lower[k], upper[k], free, free_error,
        )  # fmt: skip
        steps_made += [(name, *(float(v) for v in row)) for row in zip(*columns, strict=True)]
    return CauseCurves(
        level=level,
        variance=variance,
        n_lives=len(ages),
        causes=tuple(names),
        steps=tuple(steps_made),
    )


def _word(cause: object) -> str:
    if cause is None or cause is False or (isinstance(cause, float) and np.isnan(cause)):
        return ""
    if isinstance(cause, (int, float, np.integer, np.floating)):
        return "" if cause == 0 else f"{cause:g}"
    text = str(cause).strip()
    return "" if text in ("", "0", "nan", "<NA>", "None") else text


def _delta(incidence: Array, own: Array, died: Array, at_risk: Array, before: Array) -> Array:
    """Standard errors of one cause's incidence at each age, by the delta method."""
    out = np.zeros(len(incidence))
    for j in range(len(incidence)):
        to = slice(0, j + 1)
        gap, d, n, s, k = incidence[j] - incidence[to], died[to], at_risk[to], before[to], own[to]
        with np.errstate(divide="ignore", invalid="ignore"):
            # nothing is left to fail after an age at which all at risk did: its gap is 0
            first = np.where((d > 0) & (n > d), gap**2 * d / (n * (n - d)), 0.0)
            second = np.where(k > 0, s**2 * (n - k) * k / n**3, 0.0)
            third = np.where(k > 0, gap * s * k / n**2, 0.0)
        out[j] = np.sqrt(max(first.sum() + second.sum() - 2.0 * third.sum(), 0.0))
    return out


def _aalen(incidence: Array, own: Array, died: Array, at_risk: Array, before: Array) -> Array:
    """Standard errors of one cause's incidence at each age, by Aalen's formula."""
    out = np.zeros(len(incidence))
    for j in range(len(incidence)):
        to = slice(0, j + 1)
        gap, d, n, s, k = incidence[j] - incidence[to], died[to], at_risk[to], before[to], own[to]
        with np.errstate(divide="ignore", invalid="ignore"):
            # gaps are 0 from the last failure on, so what divides by no life left is not there
            first = np.where((d > 0) & (gap > 0), gap**2 * d / ((n - 1.0) * (n - d)), 0.0)
            second = np.where(k > 0, s**2 * k * (n - k) / (n**2 * (n - 1.0)), 0.0)
            third = np.where(
                (k > 0) & (gap > 0), gap * s * k * (n - k) / (n * (n - d) * (n - 1.0)), 0.0
            )
        out[j] = np.sqrt(first.sum() + second.sum() - 2.0 * third.sum())
    return out


def _jackknife(
    kinds: NDArray[np.bool_],
    watched: NDArray[np.bool_],
    parts: Array,
    hazard: Array,
    before: Array,
    at_risk: Array,
    shares: Array,
) -> tuple[Array, Array]:
    """Errors from each life's pull on the curves, followed from age to age."""
    n_causes, n_lives, n_ages = kinds.shape
    pull = np.zeros((n_causes, n_lives))
    free_pull = np.zeros(n_lives)
    error, free_error = np.zeros((n_causes, n_ages)), np.zeros(n_ages)
    for j in range(n_ages):
        moved = np.zeros(n_lives)
        if hazard[j] > 0:
            for k in range(n_causes):
                surprise = (kinds[k, :, j] - watched[:, j] * parts[k, j]) / at_risk[j]
                pull[k] += free_pull * parts[k, j] + before[j] * surprise
                moved += surprise
            free_pull = free_pull * (1.0 - hazard[j]) - before[j] * moved
        error[:, j] = np.sqrt(((shares * pull) ** 2).sum(axis=1))
        free_error[j] = np.sqrt(((shares * free_pull) ** 2).sum())
    return error, free_error


def _limits(incidence: Array, error: Array, level: float) -> tuple[Array, Array]:
    from scipy.special import ndtri

    z = float(ndtri(0.5 + level / 2.0))
    inside = (incidence > 0) & (incidence < 1)
    share = np.where(inside, incidence, 0.5)
    width = z * error / (share * np.abs(np.log(share)))
    lower, upper = share ** np.exp(width), share ** np.exp(-width)
    return np.where(inside, lower, incidence), np.where(inside, upper, incidence)
