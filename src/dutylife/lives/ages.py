"""Both ages of each life: days from dates, hours through the machine's meter."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.meter import RATE_CV, READING_SE, SOURCES, MeterPath, days_of

Array = NDArray[np.float64]
AGES = ["entry_days", "exit_days", "entry_hours", "exit_hours", "age_se_hours", "clock_source"]


def with_ages(
    lives: pd.DataFrame, paths: dict[str, MeterPath], usage: pd.DataFrame
) -> pd.DataFrame:
    """Lives with the columns of `AGES` filled.

    Parameters
    ----------
    lives : DataFrame
        unit_id, life_number, installed_on (missing where the age is not known), watched_from,
        ended_on.
    paths : dict of MeterPath, by unit_id
        Empty where the export has no meter at all: then hours stay blank.
    usage : DataFrame
        unit_id, hours_per_week, usage_source, rate_cv.

    Notes
    -----
    A life watched from its installation enters at age 0, another at its age on ``watched_from``.
    Hours are the difference of the machine's meter at both ends; without a reading of the machine
    itself, days times its use rate. ``clock_source`` is the weaker of both ends. The standard
    error is 0.5 for the readings, plus a fifth of the use between readings, plus the spread of
    the rate times the use beyond the readings: a fifth for a machine's own or stated rate, the
    spread between machines of that duty (at least 0.3) for a rate taken from other machines.
    """
    out = lives.copy()
    start = days_of(lives["installed_on"])
    enter = np.fmax(days_of(lives["watched_from"]), start)
    end = days_of(lives["ended_on"])
    known = np.isfinite(start)
    out["entry_days"] = np.where(known, enter - start, np.nan)
    out["exit_days"] = np.where(known, end - start, np.nan)
    for name in ("entry_hours", "exit_hours", "age_se_hours"):
        out[name] = np.nan
    out["clock_source"] = np.where(known, "estimated", "unknown")
    if not paths:
        return out
    first = (lives["life_number"] == 1).to_numpy()
    rates = usage.set_index("unit_id")
    own = rates["usage_source"].isin(["stated", "meter"])
    cv = rates["rate_cv"].where(~own, RATE_CV)
    daily = rates["hours_per_week"] / 7.0
    at_row = pd.Series(np.flatnonzero(known))
    position = at_row.groupby(out["unit_id"].to_numpy(dtype=object)[known])
    filled = {name: out[name].to_numpy(copy=True) for name in AGES[2:]}
    for unit, at in position:
        rows = at.to_numpy()
        found = _of_unit(
            paths.get(str(unit)), start[rows], enter[rows], end[rows], first[rows],
            float(daily.get(unit, np.nan)), float(cv.get(unit, RATE_CV)),
        )  # fmt: skip
        for name, values in found.items():
            filled[name][rows] = values
    for name, values in filled.items():
        out[name] = values
    return out


def _of_unit(
    path: MeterPath | None,
    start: Array,
    enter: Array,
    end: Array,
    is_first: NDArray[np.bool_],
    rate: float,
    cv: float,
) -> dict[str, Array | NDArray[np.object_]]:
    """Hours of the lives of one machine; ``rate`` is per day."""
    if path is None:
        return {
            "entry_hours": rate * (enter - start),
            "exit_hours": rate * (end - start),
            "age_se_hours": cv * rate * (end - start),
            "clock_source": np.full(len(start), "estimated", dtype="object"),
        }
    first, late, last = (path.at(day, rate) for day in (start, enter, end))
    # a machine's first part began with the machine, at 0
    begin = np.where(is_first & path.starts_at_zero, 0.0, first.reading)
    entry = np.maximum(late.reading - begin, 0.0)
    exit_ = np.maximum(last.reading - begin, entry)
    # beyond the readings both ends lean on one rate, so their errors go together
    extra = last.beyond_days - first.beyond_days
    extrapolated = np.where(extra == 0, 0.0, cv * rate * extra)
    between = first.between_error**2 + last.between_error**2
    between += np.maximum(last.guessed - first.guessed, 0.0)
    names = np.array(SOURCES, dtype="object")
    return {
        "entry_hours": entry,
        "exit_hours": exit_,
        "age_se_hours": np.sqrt(READING_SE**2 + between + extrapolated**2),
        "clock_source": names[np.maximum(first.source, last.source)],
    }
