"""What a life model may be given: ages, entries, weights checked before any fit."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError

Array = NDArray[np.float64]


def checked_lives(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    entry: ArrayLike | None,
    weights: ArrayLike | None,
    *,
    zero_allowed: bool = False,
) -> tuple[Array, NDArray[np.bool_], Array, Array]:
    """Ages at exit, failures, ages at entry and weights as arrays of one length.

    Parameters
    ----------
    exit, entry : array_like, shape (n,)
        Ages; watching covers (entry, exit]. Without ``entry`` all are watched from age 0.
    event : array_like, shape (n,)
        True or 1 where the life ended in a failure.
    weights : array_like, shape (n,), optional
        Share of each row; 1 each by default.
    zero_allowed : bool
        Whether a life of length 0 may stand (a curve can take it, a law can't).

    Raises
    ------
    FitError
        Every fault at once, with counts and the first rows.
    """
    ages, flags = numbers(exit, "exit"), numbers(event, "event")
    n = len(ages)
    starts = np.zeros(n) if entry is None else numbers(entry, "entry")
    shares = np.ones(n) if weights is None else numbers(weights, "weights")
    lengths = {"exit": n, "event": len(flags), "entry": len(starts), "weights": len(shares)}
    if n == 0 or len(set(lengths.values())) > 1:
        told = ", ".join(f"{k} {v}" for k, v in lengths.items())
        raise FitError(
            "No lives were given." if n == 0 else "The columns differ in length.",
            told,
            "give one exit, event, entry and weight for each life",
        )
    faults = [
        ("an age that is missing or not finite", ~(np.isfinite(ages) & np.isfinite(starts))),
        ("a negative age", (ages < 0) | (starts < 0)),
        ("an event that is neither 0 nor 1", ~np.isin(flags, (0.0, 1.0))),
        ("a weight that is not positive", ~(np.isfinite(shares) & (shares > 0))),
        ("an exit of 0", (ages == 0) & (starts == 0) & (not zero_allowed)),
        ("an entry not below its exit", (starts >= ages) & (starts > 0)),
    ]
    told = "; ".join(
        f"{int(bad.sum())} of {n} lives have {what} (rows {first_rows(bad)})"
        for what, bad in faults
        if bad.any()
    )
    if told:
        raise FitError(
            "These lives can't be fitted.",
            told,
            "correct these ages or leave these lives out; watching covers (entry, exit]",
        )
    return ages, flags == 1.0, starts, shares


def numbers(column: ArrayLike, name: str) -> Array:
    """A column as numbers, missing cells as ``nan``, shape (n,).

    Raises
    ------
    FitError
        Cells that are no numbers, with the first rows.
    """
    try:
        return np.atleast_1d(np.asarray(column, dtype=float))
    except (TypeError, ValueError):
        cells = np.atleast_1d(np.asarray(column, dtype=object))
    read = pd.to_numeric(pd.Series(cells.ravel(), dtype=object), errors="coerce").to_numpy(float)
    bad = np.isnan(read) & ~pd.isna(cells.ravel())
    if cells.ndim == 1 and not bad.any():  # missing cells of other kinds than nan
        return np.asarray(read)
    raise FitError(
        f"{int(bad.sum())} of {len(cells)} cells in '{name}' are no numbers"
        f"{f' (rows {first_rows(bad)})' if bad.any() else ', or lie in several columns'}.",
        name, "give one number for each row, or leave those rows out",
    )  # fmt: skip


def first_rows(bad: NDArray[np.bool_], shown: int = 5) -> str:
    """Places of the first rows that are marked, counted from 0, as words."""
    rows = np.flatnonzero(bad)
    more = ", ..." if len(rows) > shown else ""
    return ", ".join(str(r) for r in rows[:shown]) + more
