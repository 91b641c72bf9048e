"""Meter readings of each machine made into one rising path, and the meter on any day."""

from dataclasses import replace

import numpy as np
import pandas as pd

from dutylife.lives.clocks.order import Codes, Words, codes_of, rows_in_order
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.clocks.running import (
    SHORTEST_SPAN_DAYS,
    STOPPED_RISE,
    run_in_all,
    usual_rates,
)
from dutylife.lives.clocks.season import Season, fit_season
from dutylife.lives.clocks.slips import slips_in_order
from dutylife.lives.clocks.standing import Array, Flags, Rows, rows_that_stand

HOURS_PER_DAY = 24.0  # a meter of hours can't run faster
# a start at 0 must give at most this many times the unit's own later rate; young city buses were
# seen to run up to 4.6 times as much (public odometer logs), a machine bought used shows far more
USED_RATE_RATIO = 6.0


def meter_paths(
    service_lines: pd.DataFrame,
    in_service_on: pd.Series,
    meter_unit: str,
    *,
    from_new: bool = False,
    duty: pd.Series | None = None,
) -> MeterPaths:
    """Paths of all machines that have a reading.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    in_service_on : Series of dates, by unit_id
        Known days of entering service; the path starts there at 0 where the first reading then
        gives a plausible rate: above 0, at most 24 h a day, and at most `USED_RATE_RATIO` times
        the unit's own later rate where that is known.
    meter_unit : str
        Only a meter of hours has a limit of 24 a day.
    from_new : bool
        The meters are known to count from new (``[lives] first_part = "original"``): a first
        stretch faster than the later one is then no sign of a used machine.
    duty : Series of words, by unit_id, optional
        Each machine's duty, for the season of its use; none is looked for without.
    """
    fastest = HOURS_PER_DAY if meter_unit == "hours" else np.inf
    names, rows = readings_of(service_lines)
    stands = rows.taken(rows_that_stand(rows, fastest))
    if np.isfinite(fastest):
        stands = stands.taken(~slips_in_order(stands, usual_rates(stands)))
    season = _season(names, stands, duty)
    row = season.of(_by_name(duty, names)) if len(season.duties) else np.full(len(names), -1)
    run = run_in_all(stands, fastest, season.days_of_use(row[stands.machine], stands.day))
    bare = MeterPaths(
        names=names,
        start=stands.start,
        day=stands.day,
        reading=run.hours,
        guessed=run.guessed,
        bridged=run.bridged,
        starts_at_zero=np.zeros(len(names), dtype=bool),
        ahead=run.ahead,
        n_dropped=np.diff(rows.start) - np.diff(stands.start),
        n_restarts=run.n_restarts,
        n_stood=run.n_stood,
        season=season,
        duty=row,
    )
    began = np.asarray(_by_name(pd.Series(days_of(in_service_on), in_service_on.index), names))
    return _anchored(bare, began.astype(np.float64), fastest, from_new=from_new)


def _by_name(values: pd.Series | None, names: Words) -> pd.Series:
    """Values of machines in the order of ``names``, missing where there is none."""
    given = pd.Series(dtype="object") if values is None else values
    index = given.index.to_series().astype("object").astype(str)
    return pd.Series(given.to_numpy(), index=pd.Index(index.to_numpy())).reindex(names)


def _season(names: Words, rows: Rows, duty: pd.Series | None) -> Season:
    """Season of each duty, from the stretches in which meters rise."""
    number, duties = codes_of(_by_name(duty, names))
    machine = rows.machine
    rise = np.diff(rows.reading)
    at = np.flatnonzero((machine[1:] == machine[:-1]) & (rise > STOPPED_RISE))
    return fit_season(
        machine[at], number[machine[at]], rows.day[at], rows.day[at + 1], rise[at], duties
    )


def readings_of(service_lines: pd.DataFrame) -> tuple[Words, Rows]:
    """Readings of all machines in order of machine, day and reading, each once.

    Returns
    -------
    names : ndarray of str, shape (k,)
    rows : Rows
    """
    lines = service_lines[["unit_id", "service_date", "meter_hours"]]
    read = lines["meter_hours"].notna() & lines["service_date"].notna() & lines["unit_id"].notna()
    lines = lines[read.to_numpy()]
    machine, names = codes_of(lines["unit_id"])
    day, reading = days_of(lines["service_date"]), lines["meter_hours"].to_numpy(np.float64)
    order = rows_in_order(day.astype(np.int64), machine)
    machine, day, reading = machine[order], day[order], reading[order]
    reading = _rising_within_a_day(machine, day, reading)
    again = np.zeros(len(day), dtype=bool)
    again[1:] = (np.diff(machine) == 0) & (np.diff(day) == 0) & (np.diff(reading) == 0)
    start = np.concatenate([[0], np.cumsum(np.bincount(machine, minlength=len(names)))])
    return names, Rows(start, day, reading).taken(~again)


def days_of(dates: pd.Series) -> Array:
    """Dates as days since 1970, ``nan`` where missing."""
    days = (dates - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1)
    return np.asarray(days, dtype=np.float64)


def _rising_within_a_day(machine: Codes, day: Array, reading: Array) -> Array:
    """Readings of one machine on one day in order; all others stay where they are."""
    same: Flags = (np.diff(machine) == 0) & (np.diff(day) == 0)
    if not (same & (np.diff(reading) < 0)).any():
        return reading
    at = np.flatnonzero(np.append(same, False) | np.append(False, same))
    group = np.cumsum(~np.append(False, same))[at]
    out = reading.copy()
    out[at] = reading[at][np.lexsort((reading[at], group))]
    return out


def _anchored(bare: MeterPaths, began: Array, fastest: float, *, from_new: bool) -> MeterPaths:
    """Paths with the point (entered service, 0) put before them where that is plausible.

    A reading on the day of entering service stays as it is: the machine ran that far that day.
    """
    if not len(bare):
        return bare
    first, last = bare.start[:-1], bare.start[1:] - 1
    day, reading = bare.day[first], bare.reading[first]
    span = bare.day[last] - day
    rise = bare.reading[last] - reading
    known = (span >= SHORTEST_SPAN_DAYS) & (rise > 0)
    own = np.where(known, rise / np.maximum(span, 1.0), np.nan)
    waited = day - began
    plausible = np.isfinite(began) & (waited >= 0) & (reading <= fastest * (waited + 1.0))
    too_far = np.isfinite(own) & (reading > USED_RATE_RATIO * own * np.maximum(waited, 1.0))
    plausible &= ~too_far | from_new
    new = plausible & (waited > 0)
    at = first[new]
    return replace(
        bare,
        start=bare.start + np.concatenate([[0], np.cumsum(new)]),
        day=np.insert(bare.day, at, began[new]),
        reading=np.insert(bare.reading, at, 0.0),
        guessed=np.insert(bare.guessed, at, 0.0),
        bridged=np.insert(bare.bridged, at, 0.0),
        starts_at_zero=plausible,
    )
