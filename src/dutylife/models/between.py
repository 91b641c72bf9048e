"""Rows a law is fitted to: ages known exactly, cut off, or only between two looks; checked."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import checked_lives, first_rows, numbers
from dutylife.models.general import Rows
from dutylife.models.laws import Law, LifeLaw

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Checked:
    """Rows that can stand; ``lower`` and ``upper`` are missing but for lives between two ages.

    There ``exit`` is the upper age and ``failed`` true. ``covariates`` has a row for each life.
    """

    exit: Array
    failed: NDArray[np.bool_]
    entry: Array
    weight: Array
    lower: Array
    upper: Array
    covariates: pd.DataFrame | None

    @property
    def has_between(self) -> bool:
        """Whether any life is known between two ages only."""
        return bool((~np.isnan(self.upper)).any())

    def rows(self, design: Array | None = None) -> Rows:
        """Rows as the likelihood takes them; a column of ones where no design is given."""
        with np.errstate(divide="ignore"):
            return Rows(
                log_exit=np.log(self.exit),
                failed=self.failed,
                weight=self.weight,
                log_entry=np.log(self.entry),
                log_lower=np.log(self.lower),
                log_upper=np.log(self.upper),
                design=np.ones((len(self.exit), 1)) if design is None else design,
            )

    def log_centre(self) -> float:
        """Log of a middle age to climb from: time lived for each failure."""
        middle = np.where(np.isnan(self.upper), self.exit, (self.lower + self.upper) / 2.0)
        lived = float(self.weight @ (middle - self.entry))
        return math.log(lived / float(self.weight[self.failed].sum()))

    def as_law(
        self,
        law: Law,
        location: float,
        spread: float,
        covariance: tuple[float, float, float],
        loglik: float,
        **more: Any,
    ) -> LifeLaw:
        """A law of these lives."""
        lives = (self.exit.tolist(), self.failed.tolist(), self.entry.tolist(),
                 self.weight.tolist())  # fmt: skip
        return LifeLaw(
            law=law,
            location=location,
            spread=spread,
            covariance=covariance,
            loglik=loglik,
            n_lives=len(self.exit),
            n_failed=int(self.failed.sum()),
            failures=float(self.weight[self.failed].sum()),
            longest_life=float(self.exit.max()),
            lives=tuple(zip(*lives, strict=True)),
            **more,
        )


def checked_rows(
    exit_: ArrayLike | None,
    event: ArrayLike | None,
    entry: ArrayLike | None,
    lower: ArrayLike | None,
    upper: ArrayLike | None,
    weights: ArrayLike | None,
    covariates: pd.DataFrame | None,
) -> Checked:
    """Check rows of every kind; see `fit_law`.

    Raises
    ------
    FitError
        Every fault at once, with counts and the first rows.
    """
    if (lower is None) != (upper is None) or (exit_ is None) != (event is None):
        raise FitError(
            "Only one of a pair was given.", "fit_law(exit, event, lower=, upper=)",
            "give exit with event, and lower with upper",
        )  # fmt: skip
    if exit_ is None and lower is None:
        raise FitError(
            "No lives were given.",
            "fit_law(exit, event)",
            "give exit and event, or lower and upper",
        )
    if lower is None or upper is None:
        assert exit_ is not None
        assert event is not None
        ages, failed, starts, shares = checked_lives(exit_, event, entry, weights)
        blank = np.full(len(ages), np.nan)
        low, high = blank, blank
    else:
        ends, flags, low, high = _looks(exit_, event, lower, upper)
        ages, failed, starts, shares = checked_lives(ends, flags, entry, weights)
        late = ~np.isnan(high) & (starts > low)
        if late.any():
            raise FitError(
                f"{int(late.sum())} lives entered after the lower age of their interval "
                f"(rows {first_rows(late)}).",
                "fit_law(entry=, lower=)", "set lower to the entry there",
            )  # fmt: skip
    if covariates is not None and len(covariates) != len(ages):
        raise FitError(
            f"{len(covariates)} rows of covariates for {len(ages)} lives.", "fit_law(covariates=)",
            "give one row for each life",
        )  # fmt: skip
    return Checked(ages, failed, starts, shares, low, high, covariates)


def _looks(
    exit_: ArrayLike | None, event: ArrayLike | None, lower: ArrayLike, upper: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    """Interval rows under exit and event: exit the upper age, or the lower where none failed."""
    low, high = numbers(lower, "lower"), numbers(upper, "upper")
    n = len(low)
    ages = np.full(n, np.nan) if exit_ is None else numbers(exit_, "exit")
    flags = np.zeros(n) if event is None else numbers(event, "event")
    if len({n, len(high), len(ages), len(flags)}) > 1:
        raise FitError(
            "The columns differ in length.",
            f"lower {n}, upper {len(high)}, exit {len(ages)}, event {len(flags)}",
            "give one of each for every life",
        )
    looked = ~(np.isnan(low) & np.isnan(high))
    low, high = (
        np.where(looked & np.isnan(low), 0.0, low),
        np.where(looked & np.isnan(high), np.inf, high),
    )
    wrong = looked & ((low < 0) | (high < low) | ~np.isfinite(low))
    if wrong.any():
        raise FitError(
            f"{int(wrong.sum())} of {n} lives have a lower age that is negative, infinite or "
            f"above the upper (rows {first_rows(wrong)}).",
            "fit_law(lower=, upper=)",
            "lower is the last age seen working, upper the first seen failed",
        )
    exact, alive = looked & (low == high), looked & np.isinf(high)
    between = looked & ~exact & ~alive
    ages = np.where(exact | between, high, np.where(alive, low, ages))
    failed = np.where(exact | between, 1.0, np.where(alive, 0.0, flags))
    return ages, failed, np.where(between, low, np.nan), np.where(between, high, np.nan)
