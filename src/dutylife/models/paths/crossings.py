"""Ages at which paths of readings reach a limit: as seen, or along each part's own line."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.paths.rows import Direction, Readings, Scale, checked_readings

Array = NDArray[np.float64]
REACHED, NOT_REACHED, OVER_AT_FIRST = "reached", "not reached", "over at its first reading"
COLUMNS = ["part", "exit", "event", "lower", "upper", "state"]


def crossing_ages(
    part: ArrayLike,
    age: ArrayLike,
    reading: ArrayLike,
    limit: float,
    *,
    direction: Direction = "up",
) -> pd.DataFrame:
    """Age at which each part's readings first reach a limit, straight between two readings.

    No law is needed, and nothing is drawn beyond the last reading.

    Parameters
    ----------
    part, age, reading : array_like, shape (n,)
        As of `path_model`; several readings of a part at one age stand as their mean.
    limit : float
        In the unit of the readings.
    direction : {"up", "down"}
        Whether readings rise to the limit or fall to it.

    Returns
    -------
    DataFrame
        A row a part, columns part, exit, event, lower, upper, state, as `fit_law` takes them:
        ``exit`` is the age at the limit with event 1, or the age at the last reading with event 0
        (right censored). A part over the limit at its first reading reached it somewhere before:
        ``lower`` 0 and ``upper`` that age (0 where it was over it when new: no life to fit).

    Raises
    ------
    FitError
        Readings that can't stand, or a limit that is no number.

    Notes
    -----
    Exact ages only in so far as readings follow one another closely and without much scatter:
    scatter makes the first crossing early.
    """
    where = "crossing_ages(part, age, reading, limit)"
    rows = _meaned(checked_readings(part, age, reading, where))
    sign = sign_of(direction, where)
    return _first_crossings(rows, sign * rows.reading, sign * checked_limit(limit, where))


def _first_crossings(rows: Readings, height: Array, limit: float) -> pd.DataFrame:
    over = height >= limit
    n = rows.n_parts
    index = np.arange(len(height))
    first = np.searchsorted(rows.code, np.arange(n))
    last = np.searchsorted(rows.code, np.arange(n), side="right") - 1
    hit = np.full(n, len(height))
    np.minimum.at(hit, rows.code[over], index[over])
    reached = hit <= last
    at_first = hit == first
    exit_ = rows.age[last].copy()
    between = reached & ~at_first
    after = hit[between]
    rise = height[after] - height[after - 1]
    share = (limit - height[after - 1]) / rise
    exit_[between] = rows.age[after - 1] + share * (rows.age[after] - rows.age[after - 1])
    exit_[at_first] = rows.age[first[at_first]]
    return _lives(rows, exit_, reached, at_first)


def own_line_ages(rows: Readings, start: Array, slope: Array, limit: float) -> pd.DataFrame:
    """Age at which each part's own line reaches a limit from below; columns of `crossing_ages`.

    A line that does not rise never reaches it; one that starts beyond it has age 0.
    """
    last = np.searchsorted(rows.code, np.arange(rows.n_parts), side="right") - 1
    over_new = start >= limit
    reached = (slope > 0) & ~over_new
    exit_ = rows.age[last].copy()
    exit_[reached] = (limit - start[reached]) / slope[reached]
    exit_[over_new] = 0.0
    return _lives(rows, exit_, reached | over_new, over_new)


def _lives(
    rows: Readings, exit_: Array, reached: NDArray[np.bool_], at_first: NDArray[np.bool_]
) -> pd.DataFrame:
    state = np.where(at_first, OVER_AT_FIRST, np.where(reached, REACHED, NOT_REACHED))
    return pd.DataFrame(
        {
            "part": pd.Series(list(rows.parts), dtype="object"),
            "exit": exit_,
            "event": reached.astype(int),
            "lower": np.where(at_first, 0.0, np.nan),
            "upper": np.where(at_first, exit_, np.nan),
            "state": state,
        },
        columns=COLUMNS,
    )


def _meaned(rows: Readings) -> Readings:
    """Readings of one part at one age as their mean."""
    frame = pd.DataFrame({"code": rows.code, "age": rows.age, "reading": rows.reading})
    mean = frame.groupby(["code", "age"], sort=True)["reading"].mean().reset_index()
    return Readings(
        rows.parts, mean["code"].to_numpy(dtype=np.int64), mean["age"].to_numpy(dtype=float),
        mean["reading"].to_numpy(dtype=float),
    )  # fmt: skip


def checked_limit(limit: float | None, where: str, scale: Scale = "linear") -> float:
    """Return the limit as a number.

    Raises
    ------
    FitError
        None given, not finite, or not above 0 on a log scale.
    """
    if limit is None or not np.isfinite(limit) or (scale == "log" and limit <= 0):
        raise FitError(
            f"A limit of {limit} can't be.", where,
            "give the reject limit in the unit of the readings"
            + (", above 0 on a log scale" if scale == "log" else ""),
        )  # fmt: skip
    return float(limit)


def sign_of(direction: str, where: str) -> float:
    """Return 1 where readings rise to their limit, -1 where they fall to it.

    Raises
    ------
    FitError
        A direction that is not known.
    """
    if direction not in ("up", "down"):
        raise FitError(
            f"A direction '{direction}' is not known.", where,
            "'up' where readings rise to the limit, 'down' where they fall to it",
        )  # fmt: skip
    return 1.0 if direction == "up" else -1.0
