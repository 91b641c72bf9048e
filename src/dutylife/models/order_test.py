"""Test whether later lives on a machine end sooner than earlier ones, whatever their law."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import first_rows, numbers
from dutylife.wording import count, number

Array = NDArray[np.float64]
FLAGGED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderTest:
    """Test of lives in a row against renewals; ``z`` above 0: later lives end sooner.

    ``n_lives`` counts the lives that can tell anything: those of units with two or more.
    """

    n_units: int
    n_lives: int
    n_failed: int
    z: float

    @property
    def p_value(self) -> float:
        """Two-sided chance of so great an order where each part starts again [1]."""
        return math.erfc(abs(self.z) / math.sqrt(2.0))

    @property
    def table(self) -> pd.DataFrame:
        """One row: n_units, n_lives, n_failed, z, p_value."""
        return pd.DataFrame(
            [{"n_units": self.n_units, "n_lives": self.n_lives, "n_failed": self.n_failed,
              "z": self.z, "p_value": self.p_value}]
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        seen = f"{count(self.n_lives, 'life', 'lives')} in a row on {count(self.n_units, 'unit')}"
        if not self.p_value < FLAGGED:
            return f"{seen}: later ones end neither sooner nor later, as far as can be told."
        way = "sooner" if self.z > 0 else "later"
        chance = number(self.p_value, 2)
        return f"{seen}: later ones end {way}; renewals look so with a chance of {chance}."


def order_test(unit: ArrayLike, length: ArrayLike, failed: ArrayLike) -> OrderTest:
    """Test lives that followed each other on their units for a trend, robust to their law.

    Parameters
    ----------
    unit : array_like, shape (n,)
        Which unit (a position of a machine) each life is of.
    length : array_like, shape (n,)
        Time from the life's start to its end, the lives of a unit in the order they came; only
        lives watched whole, without the one still running. [one unit for all]
    failed : array_like, shape (n,)
        1 where the life ended in failure, 0 where the part was changed before.

    Returns
    -------
    OrderTest

    Raises
    ------
    FitError
        Lives that can't stand; no unit with two lives of unlike length, or no failure.

    Notes
    -----
    Lewis and Robinson (1974) set the Laplace test of a unit right for gaps that are not
    exponential by their spread; pooled over units by adding up (Kvaloy and Lindqvist, 1998 and
    2003; Lawless, Cigsar and Cook, 2012; all from memory). Here likewise, but with planned
    changes allowed: each life counts by its failure less its cumulative hazard (Nelson-Aalen of
    all the lives given), and its place among its unit's. Where each part starts again, lives of a
    unit may stand in any order, also given how many were seen before watching ended; mean and
    variance are those over all orders (a sum of permutation variances, divisor n - 1), and the sum
    is taken as normal. Units may differ in their laws. A schedule that changed over time looks
    like a trend of planned changes, not of failures.
    """
    codes, lengths, flags = _checked(unit, length, failed)
    told = flags - _hazard(lengths, flags)
    top, variance, lives, units = 0.0, 0.0, 0, 0
    n_failed = 0.0
    order = np.argsort(codes, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(codes[order])) + 1):
        n = len(rows)
        if n < 2:
            continue
        own = told[rows] - told[rows].mean()
        # place as a share of the time watched, so that busy units do not drown the others
        place = (np.arange(1, n + 1) - (n + 1) / 2.0) / (n + 1)
        top += float(place @ own)
        variance += float((place @ place) * (own @ own)) / (n - 1)
        lives, units, n_failed = lives + n, units + 1, n_failed + float(flags[rows].sum())
    if not variance > 1e-18 or n_failed == 0:
        raise FitError(
            f"{count(lives, 'life', 'lives')} on units with two or more, "
            f"{count(int(n_failed), 'failure')}, or all alike: no order can be told.",
            "order_test(unit, length, failed)", "wait for more failures of the same units",
        )  # fmt: skip
    return OrderTest(
        n_units=units, n_lives=lives, n_failed=int(n_failed), z=top / math.sqrt(variance)
    )


def _hazard(lengths: Array, flags: Array) -> Array:
    """Cumulative hazard (Nelson-Aalen, ties together) of each life at its own end."""
    at, place = np.unique(lengths, return_inverse=True)
    died = np.bincount(place, weights=flags)
    at_risk = len(lengths) - np.concatenate([[0.0], np.cumsum(np.bincount(place))[:-1]])
    found: Array = np.cumsum(died / at_risk)[place]
    return found


def _checked(
    unit: ArrayLike, length: ArrayLike, failed: ArrayLike
) -> tuple[NDArray[np.int64], Array, Array]:
    names = np.atleast_1d(np.asarray(unit, dtype=object))
    lengths, flags = numbers(length, "length"), numbers(failed, "failed")
    if not len(names) or not len(names) == len(lengths) == len(flags):
        raise FitError(
            f"{len(names)} units, {len(lengths)} lengths and {len(flags)} ends were given.",
            "order_test(unit, length, failed)", "give each life its unit, length and end",
        )  # fmt: skip
    faults = [
        ("a length that is missing, infinite or below 0", ~(np.isfinite(lengths) & (lengths >= 0))),
        ("an end that is neither 0 nor 1", ~np.isin(flags, (0.0, 1.0))),
        ("no unit", pd.isna(names)),
    ]
    told = "; ".join(
        f"{int(b.sum())} rows have {what} (rows {first_rows(b)})" for what, b in faults if b.any()
    )
    if told:
        raise FitError(
            told, "order_test(unit, length, failed)", "correct those lives or leave them out"
        )
    return pd.factorize(names)[0].astype(np.int64), lengths, flags
