"""Meter readings of each machine made into one rising path, and the meter on any day."""

from dataclasses import replace

import numpy as np
import pandas as pd

from dutylife.intake.findings import first_few
from dutylife.lives.clocks.order import Codes, Words, codes_of, rows_in_order
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.clocks.quantity import OddMeter, outruns_the_clock, unlike_its_class
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
    machines: pd.DataFrame,
    meter_unit: str,
    *,
    from_new: bool = False,
) -> MeterPaths:
    """Paths of all machines that have a reading.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    machines : DataFrame, by unit_id
        in_service_on (may be missing), duty, equipment_class. The path starts on a known day of
        entering service, at 0, where the first reading then gives a plausible rate: above 0, at
        most 24 h a day, and at most `USED_RATE_RATIO` times the unit's own later rate where that
        is known.
    meter_unit : str
        Only a meter of hours has a limit of 24 a day.
    from_new : bool
        The meters are known to count from new (``[lives] first_part = "original"``): a first
        stretch faster than the later one is then no sign of a used machine.

    Notes
    -----
    Readings that fall or outrun the clock are dropped (`rows_that_stand`), then slips among the
    rest. A meter that can't be one of hours is left out whole, and told in ``odd``.
    """
    fastest = HOURS_PER_DAY if meter_unit == "hours" else np.inf
    names, rows = readings_of(service_lines)
    told = machines.set_axis(machines.index.astype("object").astype(str)).reindex(names)
    is_odd, per_day = outruns_the_clock(rows, fastest)
    kept = rows_that_stand(rows, fastest) & ~is_odd[rows.machine]
    stands = rows.taken(kept)
    if np.isfinite(fastest):
        rate = usual_rates(stands)
        is_far, usual = unlike_its_class(rate, codes_of(told["equipment_class"])[0])
        is_far |= is_odd
        odd = _odd_meters(names, rows, is_far, np.where(is_odd, per_day, rate), usual,
                          service_lines)  # fmt: skip
        slip = slips_in_order(stands, rate)
        stands = stands.taken(~slip & ~is_far[stands.machine])
        names, told, rows, stands = _without(is_far, names, told, rows, stands)
    else:
        odd = ()
    season = _season(stands, told["duty"])
    row = season.of(told["duty"])
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
        fastest=fastest,
        odd=odd,
    )
    return _anchored(bare, days_of(told["in_service_on"]), from_new=from_new)


def _without(
    left_out: Flags, names: Words, told: pd.DataFrame, rows: Rows, stands: Rows
) -> tuple[Words, pd.DataFrame, Rows, Rows]:
    """All of the machines but those left out."""
    if not left_out.any():
        return names, told, rows, stands
    stays = ~left_out
    every, some = (
        Rows(
            np.concatenate([[0], np.cumsum(np.diff(r.start)[stays])]),
            r.day[stays[r.machine]],
            r.reading[stays[r.machine]],
        )
        for r in (rows, stands)
    )
    return names[stays], told[stays], every, some


def _odd_meters(
    names: Words,
    rows: Rows,
    is_odd: Flags,
    per_day: Array,
    usual: Array,
    service_lines: pd.DataFrame,
) -> tuple[OddMeter, ...]:
    """What to say of each meter that is left out."""
    if not is_odd.any():
        return ()
    unit = service_lines["unit_id"].astype("object").astype(str)
    mine = service_lines[unit.isin(names[is_odd]) & service_lines["meter_hours"].notna()]
    where = (mine["source_file"].astype("object").astype(str) + " row "
             + mine["source_row"].astype(str))  # fmt: skip
    seen = where.groupby(unit[mine.index].to_numpy()).agg(first_few)
    return tuple(
        OddMeter(
            unit_id=str(names[k]),
            per_day=float(per_day[k]),
            usual=float(usual[k]),
            n_readings=int(np.diff(rows.start)[k]),
            rows=str(seen[names[k]]),
        )
        for k in np.flatnonzero(is_odd)
    )


def _season(rows: Rows, duty: pd.Series) -> Season:
    """Season of each duty, from the stretches in which meters rise."""
    number, duties = codes_of(duty)
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


def _anchored(bare: MeterPaths, began: Array, *, from_new: bool) -> MeterPaths:
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
    plausible = np.isfinite(began) & (waited >= 0) & (reading <= bare.fastest * (waited + 1.0))
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
