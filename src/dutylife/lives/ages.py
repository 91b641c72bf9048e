"""Both ages of each life: days from dates, hours through the machine's meter."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.clocks.standing import Array
from dutylife.lives.meter import days_of
from dutylife.lives.usage import DAYS_PER_WEEK, READING_SE

AGES = ["entry_days", "exit_days", "entry_hours", "exit_hours", "age_se_hours", "clock_source"]
MOSTLY = 0.5  # of a life's hours
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
        What `usage_of` gives.

    Notes
    -----
    A life watched from its installation enters at age 0, another at its age on ``watched_from``.
    Hours are the difference of the machine's meter at both ends; without a reading of the machine
    itself, days times its use rate. ``clock_source`` is the weaker of both ends, and "estimated"
    where most of the hours are those of guessed stretches (a new meter, a meter that stood). The
    squared standard error adds up: 0.5 for the readings; use that strays between and beyond
    readings; the error of the rate beyond them; guessed stretches; and, where meters of the fleet
    were seen to stop, stands too short to be seen.
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
    source = np.full(len(lives), 3 if paths.has_readings else 2)
    if paths.has_readings:
        unit = lives["unit_id"][known]
        place = pd.Index(usage["unit_id"].astype("object")).get_indexer(pd.Index(unit))
        given = {
            name: np.append(usage[name].to_numpy(np.float64), np.nan)[place]
            for name in ("hours_per_week", "rate_cv", "stray_days")
        }
        use = _Use(
            rate=given["hours_per_week"] / DAYS_PER_WEEK,
            cv=given["rate_cv"],
            stray_days=given["stray_days"],
            season_row=np.append(usage["season_row"].to_numpy(np.int64), -1)[place],
        )
        is_first = (lives["life_number"] == 1).to_numpy()[known]
        found, source[known] = _hours(
            paths, paths.of(unit), (start[known], enter[known], end[known]), use, is_first
        )
        for name, values in found.items():
            hours[name][known] = values
    names = np.array([*SOURCES, "unknown"], dtype="object")
    return out.assign(**hours, clock_source=names[np.where(known, source, 3)])


@dataclass(frozen=True, slots=True)
class _Use:
    """Of each life's machine what `usage_of` gives; ``rate`` is hours a day of use."""

    rate: Array
    cv: Array
    stray_days: Array
    season_row: NDArray[np.int64]


def _hours(
    paths: MeterPaths,
    machine: NDArray[np.int64],
    days: tuple[Array, Array, Array],
    use: _Use,
    is_first: NDArray[np.bool_],
) -> tuple[dict[str, Array], NDArray[np.int64]]:
    """Hours of lives that begin, are watched and end on these days, and where they come from."""
    start, enter, end = (paths.season.days_of_use(use.season_row, d) for d in days)
    entry, exit_ = use.rate * (enter - start), use.rate * (end - start)
    square = use.rate**2 * use.stray_days * (end - start) + (use.cv * exit_) ** 2
    source = np.full(len(start), 2)
    own = np.flatnonzero(machine >= 0)
    at, rate = machine[own], use.rate[own]
    first, late, last = (paths.at(at, day[own], rate) for day in days)
    # a machine's first part began with the machine, at 0
    begin = np.where(is_first[own] & paths.starts_at_zero[at], 0.0, first.reading)
    entry[own] = np.maximum(late.reading - begin, 0.0)
    exit_[own] = np.maximum(last.reading - begin, entry[own])
    # beyond the readings both ends lean on one rate, so their errors go together
    extra = last.beyond_days - first.beyond_days
    lived = np.maximum(end[own] - start[own], 1.0)
    square[own] = (
        READING_SE**2
        + use.stray_days[own] * (first.between + last.between)
        + np.maximum(last.guessed - first.guessed, 0.0)
        + exit_[own] ** 2 / lived * paths.missed_days
        + np.where(extra == 0, 0.0, rate**2 * use.stray_days[own] * np.abs(extra))
        + np.where(extra == 0, 0.0, (use.cv[own] * rate * extra) ** 2)
    )
    # no part can have run longer than there was time
    exit_ = np.minimum(exit_, paths.fastest * np.maximum(days[2] - days[0], 1.0))
    entry = np.minimum(entry, exit_)
    mostly_guessed = last.bridged - first.bridged > MOSTLY * exit_[own]
    source[own] = np.where(mostly_guessed, 2, np.maximum(first.source, last.source))
    return {"entry_hours": entry, "exit_hours": exit_, "age_se_hours": np.sqrt(square)}, source
