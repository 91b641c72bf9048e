"""Readings of parts checked, and what a straight path needs of them: sums for each part."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError

Array = NDArray[np.float64]
Scale = Literal["linear", "log"]
Direction = Literal["up", "down"]


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings sorted by part and age; ``code`` says which of ``parts`` each row is of."""

    parts: tuple[Hashable, ...]
    code: NDArray[np.int64]
    age: Array
    reading: Array

    @property
    def n_parts(self) -> int:
        """Number of parts."""
        return len(self.parts)

    def per_part(self, values: Array) -> Array:
        """Sum over each part's rows."""
        found: Array = np.bincount(self.code, weights=values, minlength=self.n_parts).astype(float)
        return found

    def ages_of_parts(self) -> NDArray[np.int64]:
        """Number of unlike ages at which each part was read."""
        first = np.ones(len(self.age), dtype=bool)
        first[1:] = (np.diff(self.code) != 0) | (np.diff(self.age) != 0)
        return np.bincount(self.code[first], minlength=self.n_parts)


def checked_readings(
    part: ArrayLike, age: ArrayLike, reading: ArrayLike, where: str, *, above_zero: bool = False
) -> Readings:
    """Check readings and sort them.

    Parameters
    ----------
    part : array_like, shape (n,)
        Which part each reading is of.
    age : array_like, shape (n,)
        Age of the part at the reading.
    reading : array_like, shape (n,)
    where : str
        The function as messages call it.
    above_zero : bool
        Whether readings of 0 or less can't be used (log scale).

    Raises
    ------
    FitError
        Every fault at once, with counts and the first rows.
    """
    names = pd.Series(np.atleast_1d(np.asarray(part, dtype=object)))
    ages, values = _numbers(age, "ages", where), _numbers(reading, "readings", where)
    if not len(names) or len({len(names), len(ages), len(values)}) > 1:
        raise FitError(
            "No readings were given, or the columns differ in length.",
            f"{where}: part {len(names)}, age {len(ages)}, reading {len(values)}",
            "give the part and its age for each reading",
        )
    faults = [
        ("no part", names.isna().to_numpy()),
        ("an age that is missing, infinite or negative", ~(np.isfinite(ages) & (ages >= 0))),
        ("a reading that is missing or infinite (over range?)", ~np.isfinite(values)),
        ("a reading of 0 or less, which has no logarithm", (values <= 0) & above_zero),
    ]
    told = [
        f"{int(bad.sum())} rows have {what} (first: row {int(np.flatnonzero(bad)[0])})"
        for what, bad in faults
        if bad.any()
    ]
    if told:
        raise FitError(
            f"Of {len(names)} readings, {'; '.join(told)}.", where,
            "leave those rows out or correct them; a reading beyond the instrument's range is no "
            "figure to draw a path through",
        )  # fmt: skip
    codes, parts = pd.factorize(names, sort=False)
    order = np.lexsort((ages, codes))
    return Readings(tuple(parts), codes[order].astype(np.int64), ages[order], values[order])


def _numbers(values: ArrayLike, what: str, where: str) -> Array:
    try:
        return np.atleast_1d(np.asarray(values, dtype=float))
    except (TypeError, ValueError) as error:
        raise FitError(f"The {what} are not all numbers: {error}.", where, "give numbers") from None


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums of each part's readings for a straight line, on scales near 1.

    An age is ``age / age_unit``, a reading ``(reading - centre) / reading_unit``. ``n``, ``t``
    and ``tt`` are sums of 1, age and age squared; ``start`` and ``slope`` are the part's own
    line by least squares (the shortest one where it was read at one age) and ``left`` the
    squares it leaves.
    """

    n: Array
    t: Array
    tt: Array
    start: Array
    slope: Array
    left: Array
    age_unit: float
    centre: float
    reading_unit: float


def sums_of(rows: Readings) -> Sums:
    """Sums of each part; readings are taken as they are."""
    age_unit = float(rows.age.max()) or 1.0
    centre = float(rows.reading.mean())
    reading_unit = float(rows.reading.std()) or 1.0
    t, y = rows.age / age_unit, (rows.reading - centre) / reading_unit
    n, t_sum, tt = rows.per_part(np.ones(len(t))), rows.per_part(t), rows.per_part(t * t)
    start, slope, off = _own_lines(rows, t, y)
    return Sums(n, t_sum, tt, start, slope, rows.per_part(off**2), age_unit, centre, reading_unit)


def _own_lines(rows: Readings, t: Array, y: Array) -> tuple[Array, Array, Array]:
    """Start and slope of each part's line by least squares, and how far its rows lie off it."""
    n = rows.per_part(np.ones(len(t)))
    mean_t, mean_y = rows.per_part(t) / n, rows.per_part(y) / n
    own_t = t - mean_t[rows.code]
    spread = rows.per_part(own_t**2)
    along = rows.per_part(own_t * (y - mean_y[rows.code]))
    has_slope = rows.ages_of_parts() > 1
    # read at one age: of all lines through the mean, the shortest
    short = mean_y / (1.0 + mean_t**2)
    slope = np.where(has_slope, along / np.where(has_slope, spread, 1.0), short * mean_t)
    start = np.where(has_slope, mean_y - slope * mean_t, short)
    return start, slope, y - start[rows.code] - slope[rows.code] * t


def bend_of(rows: Readings) -> float:
    """Mean bend of the parts' paths in standard errors, above 0 where they rise ever faster.

    From what age squared tells beyond each part's own line, the scatter about those lines the
    same in all parts; 0 where no part was read at three ages.
    """
    t = rows.age / (float(rows.age.max()) or 1.0)
    curve, off = _own_lines(rows, t, t * t)[2], _own_lines(rows, t, rows.reading)[2]
    size = float(curve @ curve)
    freedom = len(t) - rows.n_parts - int((rows.ages_of_parts() > 1).sum()) - 1
    if size < 1e-12 or freedom < 1:
        return 0.0
    bend = float(curve @ off) / size
    noise = float(((off - bend * curve) ** 2).sum()) / freedom
    return bend * float(np.sqrt(size / noise)) if noise > 0 else 0.0
