"""Mean number of events a unit has had by an age (mean cumulative function), with its limits."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import first_rows, numbers
from dutylife.wording import count, number

Array = NDArray[np.float64]
Variance = Literal["robust", "robust n - 1", "poisson"]
_AT_ONCE = 8_000_000  # figures of unit by age held at once
COLUMNS = ["age", "at_risk", "n_events", "mean_events", "standard_error", "lower", "upper"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanCumulative:
    """Mean number of events a unit by age; ``steps`` holds the rows of ``table``."""

    level: float
    variance: str
    n_units: int
    n_events: int
    steps: tuple[tuple[float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """Columns age, at_risk, n_events, mean_events, standard_error, lower, upper."""
        return pd.DataFrame(list(self.steps), columns=COLUMNS)

    def at(self, ages: ArrayLike) -> pd.DataFrame:
        """Rows of ``table`` that hold at given ages; ``age`` is the age asked for."""
        wanted = np.atleast_1d(np.asarray(ages, dtype=float))
        table = self.table
        first = pd.DataFrame([[0.0, np.nan, 0.0, 0.0, 0.0, 0.0, 0.0]], columns=COLUMNS)
        place = np.searchsorted(table["age"].to_numpy(), wanted, side="right")
        found = pd.concat([first, table], ignore_index=True).iloc[place]
        return found.assign(age=wanted).reset_index(drop=True)

    def against(self, other: "MeanCumulative", age: float) -> dict[str, float]:
        """Difference to other units' mean at an age: difference, standard_error, z, p_value.

        ``difference`` is the other's less ours; units of the two are taken as independent.
        """
        ours, theirs = self.at(age).iloc[0], other.at(age).iloc[0]
        gap = float(theirs["mean_events"] - ours["mean_events"])
        error = math.hypot(float(ours["standard_error"]), float(theirs["standard_error"]))
        z = gap / error if error > 0 else math.nan
        return {
            "difference": gap, "standard_error": error, "z": z,
            "p_value": math.erfc(abs(z) / math.sqrt(2.0)),
        }  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        last = self.steps[-1]
        return (
            f"{count(self.n_events, 'event')} on {count(self.n_units, 'unit')}; by age "
            f"{number(last[0])} a unit has had {number(last[3])} on average "
            f"({100 * self.level:.0f} % range {number(last[5])} to {number(last[6])})."
        )


def mean_cumulative(
    unit: ArrayLike,
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    level: float = 0.95,
    variance: Variance = "robust",
) -> MeanCumulative:
    """Mean cumulative function of events that come again, e.g. replacements of one position.

    Parameters
    ----------
    unit : array_like, shape (n,)
        Which unit each row is of.
    exit : array_like, shape (n,)
        Age of the unit at the event, or at the end of watching. [one unit for all]
    event : array_like, shape (n,)
        1 for an event, 0 for an end of watching.
    entry : array_like, shape (n,), optional
        Each row watches its unit over (entry, exit]. Without it a unit is watched from 0 to its
        last row.
    level : float
        Confidence level of the limits, taken on the log scale. [1]
    variance : {"robust", "robust n - 1", "poisson"}
        From how the units differ: sum over units of squared pulls, divisor n (Lawless and
        Nadeau; R survival), or that times n / (n - 1), n all units, which for units watched
        equally long is the unbiased one of Nelson (1988; 1995; from memory). Both are missing
        for one unit. Or sum of d / n^2, n those at risk, which holds for independent events only.

    Returns
    -------
    MeanCumulative
        A step for each age with an event. The divisor is the number of units watched at that
        age, not all units. Several events of one unit at one age all count.

    Raises
    ------
    FitError
        Rows that can't stand, with counts; no event.
    """
    from scipy.special import ndtri

    if variance not in ("robust", "robust n - 1", "poisson") or not 0 < level < 1:
        raise FitError(
            f"variance '{variance}' at level {level} is not known.",
            "mean_cumulative(variance=, level=)",
            "variance is 'robust', 'robust n - 1' or 'poisson'; the level lies between 0 and 1",
        )
    codes, ages, happened, starts = _checked(unit, exit, event, entry)
    n_units = int(codes.max()) + 1
    at = np.unique(ages[happened])
    rows = _Rows(codes, ages, happened, None if entry is None else starts, at)
    blocks = list(rows.blocks(n_units))
    # how many are watched and what came, then how far each unit pulls the mean
    counted = [(w.sum(axis=0), e.sum(axis=0)) for w, e in map(rows.of, blocks)]
    at_risk = np.asarray(sum(w for w, _ in counted), dtype=float)
    came = np.asarray(sum(e for _, e in counted), dtype=float)
    rate = came / at_risk
    mean = np.cumsum(rate)
    if variance != "poisson":
        squares = np.zeros(len(at))
        for watched, events in map(rows.of, blocks):
            pulls = np.cumsum((events - watched * rate) / at_risk, axis=1)
            squares = squares + (pulls**2).sum(axis=0)
        # one unit differs from no other: its mean has no error that could be told
        error = np.full(len(at), np.nan)
        if n_units > 1:
            more = n_units / (n_units - 1.0) if variance == "robust n - 1" else 1.0
            error = np.sqrt(more * squares)
    else:
        error = np.sqrt(np.cumsum(came / at_risk**2))
    width = np.exp(float(ndtri(0.5 + level / 2.0)) * error / mean)
    steps = zip(at, at_risk, came, mean, error, mean / width, mean * width, strict=True)
    return MeanCumulative(
        level=level,
        variance=variance,
        n_units=n_units,
        n_events=int(happened.sum()),
        steps=tuple(tuple(float(v) for v in row) for row in steps),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows of units; ``starts`` None where a unit is watched from 0 to its last row."""

    codes: NDArray[np.int64]
    ages: Array
    happened: NDArray[np.bool_]
    starts: Array | None
    at: Array

    def blocks(self, n_units: int) -> Iterator[tuple[int, int, NDArray[np.int64]]]:
        """So many units at a time: first, end and their rows; a unit by age of each at once."""
        n = max(_AT_ONCE // max(len(self.at), 1), 1)
        if n >= n_units:
            yield 0, n_units, np.arange(len(self.codes))
            return
        order = np.argsort(self.codes, kind="stable")
        ends = np.searchsorted(self.codes[order], np.arange(0, n_units + n, n))
        for i, (first, last) in enumerate(pairwise(ends)):
            yield i * n, min((i + 1) * n, n_units), order[first:last]

    def of(self, block: tuple[int, int, NDArray[np.int64]]) -> tuple[NDArray[np.bool_], Array]:
        """Whether each unit is watched at each age, and its events there; (n_units, n_ages)."""
        first, end, rows = block
        codes, ages, n = self.codes[rows] - first, self.ages[rows], end - first
        if self.starts is None:
            last = np.zeros(n)
            np.maximum.at(last, codes, ages)
            watched = last[:, None] >= self.at
        else:
            # rows that begin below an age, less those that end there or below it
            begun = np.zeros((n, len(self.at) + 1), dtype=np.int16)
            np.add.at(begun, (codes, np.searchsorted(self.at, self.starts[rows], "right")), 1)
            np.add.at(begun, (codes, np.searchsorted(self.at, ages, "right")), -1)
            watched = np.cumsum(begun[:, :-1], axis=1, dtype=np.int16) > 0
        events = np.zeros((n, len(self.at)))
        came = self.happened[rows]
        np.add.at(events, (codes[came], np.searchsorted(self.at, ages[came])), 1.0)
        return watched, events


def _checked(
    unit: ArrayLike, exit_: ArrayLike, event: ArrayLike, entry: ArrayLike | None
) -> tuple[NDArray[np.int64], Array, NDArray[np.bool_], Array]:
    names = np.atleast_1d(np.asarray(unit, dtype=object))
    ages, flags = numbers(exit_, "exit"), numbers(event, "event")
    starts = np.zeros(len(ages)) if entry is None else numbers(entry, "entry")
    lengths = {"unit": len(names), "exit": len(ages), "event": len(flags), "entry": len(starts)}
    if not len(ages) or len(set(lengths.values())) > 1:
        raise FitError(
            "No rows were given, or the columns differ in length.",
            ", ".join(f"{k} {v}" for k, v in lengths.items()),
            "give one unit, exit, event and entry for each row",
        )
    faults = [
        ("an age that is missing or not finite", ~(np.isfinite(ages) & np.isfinite(starts))),
        ("a negative age", (ages < 0) | (starts < 0)),
        ("an event that is neither 0 nor 1", ~np.isin(flags, (0.0, 1.0))),
        ("an entry not below its exit", (starts >= ages) & (entry is not None)),
        ("no unit", pd.isna(names)),
    ]
    told = "; ".join(
        f"{int(b.sum())} rows have {what} (rows {first_rows(b)})" for what, b in faults if b.any()
    )
    if told or not (flags == 1).any():
        raise FitError(
            told or "There is no event.", "mean_cumulative(unit, exit, event, entry=)",
            "correct those rows or leave them out; 1 marks an event",
        )  # fmt: skip
    codes = pd.factorize(names, sort=False)[0].astype(np.int64)
    return codes, ages, flags == 1, starts
