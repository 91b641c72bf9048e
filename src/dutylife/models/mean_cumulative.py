"""Mean number of events a unit has had by an age (mean cumulative function), with its limits."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import first_rows, numbers
from dutylife.wording import count, number

Array = NDArray[np.float64]
Variance = Literal["robust", "robust n - 1", "poisson"]
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
    if entry is None:
        last = np.zeros(n_units)
        np.maximum.at(last, codes, ages)
        watched = last[:, None] >= at
    else:
        watched = np.zeros((n_units, len(at)), dtype=bool)
        np.logical_or.at(watched, codes, (starts[:, None] < at) & (ages[:, None] >= at))
    events = np.zeros((n_units, len(at)))
    np.add.at(events, (codes[happened], np.searchsorted(at, ages[happened])), 1.0)
    at_risk, came = watched.sum(axis=0).astype(float), events.sum(axis=0)
    rate = came / at_risk
    mean = np.cumsum(rate)
    if variance != "poisson":
        pulls = np.cumsum((events - watched * rate) / at_risk, axis=1)
        # one unit differs from no other: its mean has no error that could be told
        error = np.full(len(at), np.nan)
        if n_units > 1:
            more = n_units / (n_units - 1.0) if variance == "robust n - 1" else 1.0
            error = np.sqrt(more * (pulls**2).sum(axis=0))
    else:
        error = np.sqrt(np.cumsum(came / at_risk**2))
    width = np.exp(float(ndtri(0.5 + level / 2.0)) * error / mean)
    rows = zip(at, at_risk, came, mean, error, mean / width, mean * width, strict=True)
    return MeanCumulative(
        level=level,
        variance=variance,
        n_units=n_units,
        n_events=int(happened.sum()),
        steps=tuple(tuple(float(v) for v in row) for row in rows),
    )


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
