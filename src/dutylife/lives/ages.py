"""Both ages of each life: days from dates, hours through the machine's meter."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.clocks.paths import MeterPaths, OnDays
from dutylife.lives.clocks.running import RATE_CV
from dutylife.lives.clocks.standing import Array
from dutylife.lives.meter import days_of

AGES = ["entry_days", "exit_days", "entry_hours", "exit_hours", "age_se_hours", "clock_source"]
READING_SE = 0.5  # a reading, taken some time on the day of the visit [meter unit]
SOURCES = ("meter", "interpolated", "estimated")  # within a day of a reading; between; beyond


def with_ages(lives: pd.DataFrame, paths: MeterPaths, usage: pd.DataFrame) -> pd.DataFrame:
    """Lives with the columns of `AGES` filled.

    Parameters
    ----------
    lives : DataFrame
        unit_id, life_number, installed_on (missing where the age is not known), watched_from,
        ended_on.
    paths : MeterPaths
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
    start = days_of(lives["installed_on"])
    enter = np.fmax(days_of(lives["watched_from"]), start)
    end = days_of(lives["ended_on"])
    known = np.isfinite(start)
    out = lives.assign(
        entry_days=np.where(known, enter - start, np.nan),
        exit_days=np.where(known, end - start, np.nan),
    )
    hours = {name: np.full(len(lives), np.nan) for name in AGES[2:5]}
    source = np.full(len(lives), 3 if len(paths) else 2)
    if len(paths):
        unit = lives["unit_id"][known]
        place = pd.Index(usage["unit_id"].astype("object")).get_indexer(pd.Index(unit))
        own = usage["usage_source"].isin(["stated", "meter"])
        cv = np.append(usage["rate_cv"].where(~own, RATE_CV).to_numpy(float), RATE_CV)[place]
        rate = np.append(usage["hours_per_week"].to_numpy(float) / 7.0, np.nan)[place]
        is_first = (lives["life_number"] == 1).to_numpy()[known]
        found, source[known] = _hours(
            paths, paths.of(unit), start[known], enter[known], end[known], rate, cv, is_first
        )
        for name, values in found.items():
            hours[name][known] = values
    names = np.array([*SOURCES, "unknown"], dtype="object")
    return out.assign(**hours, clock_source=names[np.where(known, source, 3)])


def _hours(
    paths: MeterPaths,
    machine: NDArray[np.int64],
    start: Array,
    enter: Array,
    end: Array,
    rate: Array,
    cv: Array,
    is_first: NDArray[np.bool_],
) -> tuple[dict[str, Array], NDArray[np.int64]]:
    """Hours of lives and where they come from; ``rate`` is per day."""
    entry, exit_ = rate * (enter - start), rate * (end - start)
    error = cv * exit_
    source = np.full(len(start), 2)
    own = np.flatnonzero(machine >= 0)
    at = machine[own]
    first, late, last = _on_days(paths, at, (start[own], enter[own], end[own]), rate[own])
    # a machine's first part began with the machine, at 0
    begin = np.where(is_first[own] & paths.starts_at_zero[at], 0.0, first.reading)
    entry[own] = np.maximum(late.reading - begin, 0.0)
    exit_[own] = np.maximum(last.reading - begin, entry[own])
    # beyond the readings both ends lean on one rate, so their errors go together
    extra = last.beyond_days - first.beyond_days
    extrapolated = np.where(extra == 0, 0.0, cv[own] * rate[own] * extra)
    between = first.between_error**2 + last.between_error**2
    between += np.maximum(last.guessed - first.guessed, 0.0)
    error[own] = np.sqrt(READING_SE**2 + between + extrapolated**2)
    source[own] = np.maximum(first.source, last.source)
    return {"entry_hours": entry, "exit_hours": exit_, "age_se_hours": error}, source


def _on_days(
    paths: MeterPaths, machine: NDArray[np.int64], days: tuple[Array, ...], rate: Array
) -> tuple[OnDays, ...]:
    return tuple(paths.at(machine, day, rate) for day in days)
