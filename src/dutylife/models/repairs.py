"""Failures of repaired units in the order they came: systems checked for power law and trend."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import first_rows, numbers
from dutylife.wording import count

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Repaired:
    """Units watched over (``starts``, ``ends``], with the sorted ages of their failures.

    ``at_failure`` says that watching ended with the last failure of each unit, which then says
    nothing of its own about a trend.
    """

    ages: tuple[Array, ...]
    ends: Array
    at_failure: bool
    starts: Array

    @property
    def n_events(self) -> int:
        """Failures of all units."""
        return sum(len(a) for a in self.ages)


def repaired(
    age: ArrayLike,
    end: ArrayLike | None,
    unit: ArrayLike | None,
    where: str,
    start: ArrayLike | None = None,
) -> Repaired:
    """Check ages of failures of one or several units.

    Parameters
    ----------
    age : array_like, shape (n,)
        Age of the unit at each failure; from 0, not gaps.
    end : float, or mapping of unit to float, or None
        Age at which watching ended. One number holds for every unit.
    unit : array_like, shape (n,), optional
        Which unit each failure is of. Units that never failed are given by ``end`` only.
    where : str
        The function as messages call it.
    start : float, or mapping of unit to float, optional
        Age at which watching began, 0 by default; an age counts when it lies after it.

    Raises
    ------
    FitError
        Ages that can't stand.
    """
    ages = numbers(age, "age")
    names = np.zeros(len(ages), dtype=object) if unit is None else np.asarray(unit, dtype=object)
    if len(names) != len(ages):
        raise FitError(
            f"{len(ages)} ages and {len(names)} units were given.", where,
            "give the unit of each age",
        )  # fmt: skip
    given, begun = _by_unit(end, "end", names, where), _by_unit(start, "start", names, where)
    order = list(dict.fromkeys([*pd.unique(names), *given]))
    of = pd.Index(order).get_indexer(pd.Index(names))
    by_unit = np.lexsort((ages, of))
    own = np.split(ages[by_unit], np.searchsorted(of[by_unit], np.arange(1, len(order))))
    own = own[: len(order)]  # no unit at all: a split leaves one empty part
    if end is None:
        ends = np.array([a[-1] if len(a) else np.nan for a in own])
    else:
        ends = np.array([given.get(name, np.nan) for name in order])
    starts = np.array([begun.get(name, 0.0) for name in order])
    by_start = dict(zip(order, starts, strict=True))
    early = ages <= np.array([by_start[name] for name in names], dtype=float)
    wrong = ~(ages > 0) | np.isinf(ages)
    by_name = dict(zip(order, ends, strict=True))
    late = ages > np.array([by_name[name] for name in names], dtype=float)
    endless = [str(name) for name, e in by_name.items() if np.isnan(e)]
    bad_ends = [str(n) for n, e in by_name.items() if not np.isnan(e) and not 0 < e < np.inf]
    bad_starts = [str(n) for n, s in by_start.items() if not 0 <= s < by_name[n]]
    faults = [
        ("no failure was given", len(ages) == 0),
        (
            f"an age is missing, infinite or not above 0 (rows {first_rows(wrong)})",
            bool(wrong.any()),
        ),
        (f"a unit has no end of watching ({', '.join(endless[:5])})", bool(endless)),
        (f"an end is infinite or not above 0 ({', '.join(bad_ends[:5])})", bool(bad_ends)),
        (
            f"{count(int(late.sum()), 'failure')} after the end of watching "
            f"(rows {first_rows(late)})",
            bool(late.any()),
        ),
        (
            f"a start is below 0 or not before its end ({', '.join(bad_starts[:5])})",
            bool(bad_starts) and not endless,
        ),
        (
            f"{count(int(early.sum()), 'failure')} before the start of watching "
            f"(rows {first_rows(early)})",
            bool((early & ~wrong).any()),
        ),
    ]
    told = [what for what, bad in faults if bad]
    if told:
        raise FitError(
            f"{'; '.join(told)[0].upper()}{'; '.join(told)[1:]}.", where,
            "ages count from the start of each unit; give each unit's end of watching",
        )  # fmt: skip
    return Repaired(tuple(own), ends, end is None, starts)


def _by_unit(
    given: ArrayLike | None, name: str, units: NDArray[np.object_], where: str
) -> dict[object, float]:
    """Ends or starts by unit; one number holds for every unit."""
    if isinstance(given, (dict, pd.Series)):
        return {unit: float(value) for unit, value in given.items()}
    if given is None:
        return {}
    if np.ndim(given) != 0:
        raise FitError(
            f"Several {name}s were given without their units.", where,
            f"give {name} as one number, or as {{unit: {name}}}",
        )  # fmt: skip
    return dict.fromkeys(pd.unique(units), float(np.asarray(given)))
