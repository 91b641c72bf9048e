"""Meter readings of each machine made into one rising path, and the meter on any day."""

import numpy as np
import pandas as pd

from dutylife.intake.findings import first_few
from dutylife.lives.clocks.order import Words, codes_of, rows_in_order
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
    began = days_of(told["in_service_on"])
    from_zero = _starts_at_zero(stands, run.hours, began, fastest, from_new=from_new)
    before = from_zero & (began < stands.day[stands.start[:-1]])
    at = stands.start[:-1][before]
    start = stands.start + np.concatenate([[0], np.cumsum(before)])
    day, reading, guessed, bridged = (
        np.insert(values, at, first) if len(at) else values
        for values, first in (
            (stands.day, began[before]), (run.hours, 0.0), (run.guessed, 0.0), (run.bridged, 0.0),
        )
    )  # fmt: skip
    return MeterPaths(
        names=names,
        start=start,
        day=day,
        reading=reading,
        guessed=guessed,
        bridged=bridged,
        starts_at_zero=from_zero,
        ahead=run.ahead,
        n_dropped=np.diff(rows.start) - np.diff(stands.start),
        n_restarts=run.n_restarts,
        n_stood=run.n_stood,
        season=season,
        duty=row,
        fastest=fastest,
        odd=odd,
    )


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
    at = np.zeros(0, dtype=np.int64)
    if len(duties):
        at = np.flatnonzero(rows.same & (rows.rise > STOPPED_RISE))
    of = rows.machine[at]
    return fit_season(of, number[of], rows.day[at], rows.day[at + 1], rows.rise[at], duties)


def readings_of(service_lines: pd.DataFrame) -> tuple[Words, Rows]:
    """Readings of all machines in order of machine, day and reading, each once.

    Returns
    -------
    names : ndarray of str, shape (k,)
    rows : Rows
    """
    machine, names = codes_of(service_lines["unit_id"])
    date = service_lines["service_date"].to_numpy().astype("datetime64[D]")
    reading = service_lines["meter_hours"].to_numpy(np.float64)
    read = ~np.isnan(reading)
    read &= machine >= 0
    read &= ~np.isnat(date)
    # the others are put behind all machines and cut off: cheaper than to take them out first
    machine = np.where(read, machine, len(names))
    day = np.where(read, date.astype(np.int64), 0)
    order = rows_in_order(day, machine)[: read.sum()]
    count = np.bincount(machine, minlength=len(names) + 1)[:-1]
    reading = reading[order]
    rows = Rows(np.concatenate([[0], np.cumsum(count)]), day[order].astype(np.float64), reading)
    if not count.all():
        names, rows = names[count > 0], Rows(np.unique(rows.start), rows.day, reading)
    return names, _once_a_day_in_order(rows)


def days_of(dates: pd.Series) -> Array:
    """Dates as days since 1970, ``nan`` where missing."""
    days = (dates - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1)
    return np.asarray(days, dtype=np.float64)


def _once_a_day_in_order(rows: Rows) -> Rows:
    """Rows of one machine on one day in order of reading, each reading once."""
    at = np.flatnonzero(rows.same & (rows.wait == 0))
    if not len(at):
        return rows
    reading = rows.reading
    if (rows.rise[at] < 0).any():
        on_one_day, begins = np.zeros(len(reading), dtype=bool), np.ones(len(reading), dtype=bool)
        on_one_day[at] = on_one_day[at + 1] = True
        begins[at + 1] = False
        both = np.flatnonzero(on_one_day)
        begins = begins[both]
        reading = reading.copy()
        reading[both] = reading[both][np.lexsort((reading[both], np.cumsum(begins)))]
    kept = np.ones(len(reading), dtype=bool)
    kept[at[reading[at] == reading[at + 1]] + 1] = False
    return Rows(rows.start, rows.day, reading).taken(kept)


def _starts_at_zero(
    rows: Rows, hours: Array, began: Array, fastest: float, *, from_new: bool
) -> Flags:
    """Machines for which (entered service, 0) is a plausible point before their path.

    A reading on the day of entering service stays as it is: the machine ran that far that day.
    """
    first, last = rows.start[:-1], rows.start[1:] - 1
    day, reading = rows.day[first], hours[first]
    span, rise = rows.day[last] - day, hours[last] - reading
    known = (span >= SHORTEST_SPAN_DAYS) & (rise > 0)
    own = np.where(known, rise / np.maximum(span, 1.0), np.nan)
    waited = day - began
    plausible = np.isfinite(began) & (waited >= 0) & (reading <= fastest * (waited + 1.0))
    too_far = known & (reading > USED_RATE_RATIO * own * np.maximum(waited, 1.0))
    return plausible & (~too_far | from_new)
