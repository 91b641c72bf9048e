"""Coded events and machines made into the failure-event table: one life a row."""

import numpy as np
import pandas as pd

from dutylife.lives.ages import with_ages
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.ends import carried, ends_of
from dutylife.lives.found import last_good_days
from dutylife.lives.meter import days_of, meter_paths
from dutylife.lives.notes import notes_of
from dutylife.lives.positions import CELL, n_positions, on_positions, with_known_places
from dutylife.lives.recurrence import recurrence_gaps
from dutylife.lives.spells import split_at_moves
from dutylife.lives.usage import DAYS_PER_WEEK, usage_of
from dutylife.lives.watch import Watch, at_span, last_day, watch_machines
from dutylife.schema import as_table
from dutylife.settings import Settings

YOUNG_SHARE = 0.25  # of the mean time between renewals: a first part is then taken for original


def build_lives(
    maintenance_events: pd.DataFrame,
    service_lines: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
) -> dict[str, pd.DataFrame]:
    """Build the failure-event table, and fill what is known of each machine.

    Parameters
    ----------
    maintenance_events, service_lines, units, unit_spans : DataFrame
        Tables of these names; rows after ``settings.fleet.as_of`` are not looked at.
    settings : Settings
        With ``fleet.as_of`` filled.

    Returns
    -------
    dict of DataFrame
        ``failure_events``, ``units`` (first and last seen, prob_in_service, use rate),
        ``unit_spans`` (use rate), ``use_seasons``, ``recurrence_gaps``, ``findings``.

    Notes
    -----
    Each position of a component that a machine's class carries has one life running at any time;
    ``position`` is blank where there is one of it (see `on_positions`). A life is one row, a
    ``spell``, in each duty it was lived in (see `split_at_moves`); each carries the customer of
    its last day. A failure found when the machine came for service is known to lie between the
    last time the part was known to be good and that day: ``lower_`` and ``upper_``; any other
    failure counts at the day it came to the shop. A life ended by a comeback stays in the table
    with its mark; models leave it out.
    """
    as_of = last_day(settings)
    lines = _until(service_lines, "service_date", as_of)
    events = _until(maintenance_events, "event_date", as_of)
    evidence = _evidence(lines, events)
    watch = watch_machines(evidence, units, unit_spans, settings)
    paths = meter_paths(
        lines,
        watch.machines,
        settings.fleet.meter_unit,
        from_new=settings.lives.first_part == "original",
    )
    usage = usage_of(_for_usage(watch, units), paths, settings)
    of_class = watch.machines["equipment_class"]
    positions = n_positions(events, of_class, settings)
    placed = with_known_places(events, positions, of_class)
    lives = _chained(placed, positions, watch, unit_spans, settings)
    lives = _first_lives(lives, watch, settings)
    lives = split_at_moves(lives, unit_spans, evidence)
    lives = _aged(lives, placed, paths, usage)
    table = as_table("failure_events", lives)
    notes = notes_of(table, watch, paths, usage, events, positions, lines, units, settings)
    return {
        "failure_events": table,
        "units": _filled_units(units, watch, paths, usage, settings),
        "unit_spans": _filled_spans(unit_spans, usage),
        "use_seasons": as_table("use_seasons", paths.season.table),
        "recurrence_gaps": recurrence_gaps(
            events[events["unit_id"].isin(watch.machines.index)], watch.machines["last_seen"]
        ),
        "findings": as_table("findings", notes),
    }


def _until(rows: pd.DataFrame, date: str, as_of: pd.Timestamp) -> pd.DataFrame:
    """Rows up to a day; the frame itself where that is all of them, as a copy is large."""
    known = rows[date] <= as_of
    return rows if known.all() else rows[known]


def _evidence(lines: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Days on which each machine is seen, by any line or coded event."""
    named = events[["unit_id", "event_date"]].rename(columns={"event_date": "service_date"})
    both = [f.astype({"unit_id": "object"}) for f in (lines[["unit_id", "service_date"]], named)]
    seen = pd.concat(both, ignore_index=True).dropna().drop_duplicates()
    return seen.sort_values(["unit_id", "service_date"], kind="stable").reset_index(drop=True)


def _for_usage(watch: Watch, units: pd.DataFrame) -> pd.DataFrame:
    stated = units.astype({"unit_id": "object"}).set_index("unit_id")["hours_per_week"]
    machines = watch.machines[["duty", "equipment_class"]].copy()
    machines["hours_per_week"] = stated.reindex(machines.index)
    return machines.reset_index()


def _chained(
    events: pd.DataFrame,
    positions: pd.DataFrame,
    watch: Watch,
    unit_spans: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Lives of each component in a row: each begins where the last one ended."""
    machines = watch.machines
    of_class = machines["equipment_class"]
    ends, still = on_positions(
        ends_of(events[events["unit_id"].isin(machines.index)], settings),
        carried(events, of_class), positions, of_class,
    )  # fmt: skip
    ends["is_open"] = False
    still["ended_on"] = still["unit_id"].map(machines["observed_to"])
    still["event"] = still["unit_id"].map(machines["ends"])
    still = still.assign(is_open=True, renews=False, weight=1.0, is_comeback=False,
                         failure_mode=None, fitted=None, pieces=np.nan, was_found=False,
                         ticket="", line_ids="")  # fmt: skip
    if ends.empty:
        ends = ends.reindex(columns=still.columns).iloc[:0]
    lives = pd.concat([ends.astype(still.dtypes), still], ignore_index=True)
    lives = lives.sort_values([*CELL, "ended_on", "is_open"], kind="stable", ignore_index=True)
    cell = lives.groupby(CELL, sort=False)
    lives["life_number"] = cell.cumcount() + 1
    previous = cell["ended_on"].shift()
    renewed = cell["renews"].shift().eq(True)
    lives["installed_on"] = previous.where(renewed)
    lives["part_number"] = cell["fitted"].shift()
    begin = pd.to_datetime(lives["unit_id"].map(machines["observed_from"]))
    lives["watched_from"] = previous.where(previous > begin, begin)
    lives["equipment_class"] = lives["unit_id"].map(machines["equipment_class"])
    lives["prob_in_service"] = lives["unit_id"].map(machines["prob_in_service"])
    where = at_span(lives["unit_id"], lives["ended_on"], unit_spans)
    return lives.assign(duty=where["duty"], customer=where["customer"])


def _first_lives(lives: pd.DataFrame, watch: Watch, settings: Settings) -> pd.DataFrame:
    """Fill in the begin of first lives whose part is taken for the machine's original one.

    A machine that entered service within the record: its parts are original, watched from new. One
    that is older: by ``[lives] first_part``. ``by age``: original when its age on the record's
    first day is at most a quarter of that component's mean time between renewals in that duty
    (time watched / renewals, at least 1). ``original``: always; this is the rule for logs
    that start when they start, so all machines are watched only from their own first evidence.
    ``unknown``: never.
    """
    out = lives.copy()
    began = pd.to_datetime(out["unit_id"].map(watch.machines["in_service_on"]))
    first = (out["life_number"] == 1) & began.notna()
    within = first & (began >= watch.record_start)
    rule = settings.lives.first_part
    if rule == "original":
        original = first
        seen = pd.to_datetime(out["unit_id"].map(watch.machines["first_seen"]))
        out["watched_from"] = out["watched_from"].mask(first & seen.notna(), seen)
    elif rule == "unknown":
        original = within
    else:
        watched = (out["ended_on"] - out["watched_from"]).dt.days.clip(lower=0)
        cell = [out["component"], out["duty"]]
        renewals = (~out["is_open"]).groupby(cell).transform("sum").clip(lower=1)
        mean_days = watched.groupby(cell).transform("sum") / renewals
        age_then = (watch.record_start - began).dt.days
        original = within | (first & (age_then <= YOUNG_SHARE * mean_days))
    out["installed_on"] = out["installed_on"].mask(original, began)
    return out


def _aged(
    lives: pd.DataFrame, events: pd.DataFrame, paths: MeterPaths, usage: pd.DataFrame
) -> pd.DataFrame:
    """Lives with their ages, and with the bounds of failures found at a service."""
    found = lives["was_found"].to_numpy(bool)
    lives = lives.reset_index(drop=True)
    last_good = last_good_days(lives[found], events)
    # the age on the last good day, by the same clock: as if the life had ended there
    until_then = lives[found].assign(ended_on=last_good)
    aged = with_ages(pd.concat([lives, until_then], ignore_index=True), paths, usage)
    out, then = aged.iloc[: len(lives)].copy(), aged.iloc[len(lives) :]
    for clock in ("hours", "days"):
        lower, upper = f"lower_{clock}", f"upper_{clock}"
        out[lower] = out[upper] = np.nan
        out.loc[found, lower] = then[f"exit_{clock}"].to_numpy(float)
        out.loc[found, upper] = out.loc[found, f"exit_{clock}"]
    return out


def _filled_units(
    units: pd.DataFrame,
    watch: Watch,
    paths: MeterPaths,
    usage: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Units with what the record tells of them; machines not yet there stay as they were."""
    names = sorted({*units["unit_id"].astype("object"), *watch.machines.index})
    out = units.astype({"unit_id": "object"}).set_index("unit_id").reindex(names)
    out = out.astype({c: "object" for c in ("usage_source", "meter_unit", "equipment_class")})
    for name in ("first_seen", "last_seen", "prob_in_service", "left_on"):
        new = watch.machines[name].reindex(names)
        out[name] = new.where(new.notna(), out[name])
    rates = usage.set_index("unit_id").reindex(names)
    for name in ("hours_per_week", "usage_source"):
        out[name] = rates[name].where(rates[name].notna(), out[name])
    out["usage_source"] = out["usage_source"].fillna("unknown")
    out["meter_unit"] = settings.fleet.meter_unit
    today = np.full(len(paths), days_of(pd.Series([watch.as_of]))[0])
    weekly = out["hours_per_week"].astype(float).reindex(paths.names)
    rate = np.asarray(weekly / DAYS_PER_WEEK, dtype=np.float64)
    shown = paths.at(np.arange(len(paths)), today, rate).reading - paths.ahead
    out["meter_now_hours"] = pd.Series(shown, index=paths.names, dtype=float).reindex(names)
    return as_table("units", out.rename_axis("unit_id").reset_index())


def _filled_spans(unit_spans: pd.DataFrame, usage: pd.DataFrame) -> pd.DataFrame:
    """Spans with the rate of their machine where they state none."""
    rate = unit_spans["unit_id"].astype("object").map(usage.set_index("unit_id")["hours_per_week"])
    given = unit_spans["hours_per_week"]
    filled = given.where(given.notna(), rate.astype(float))
    return as_table("unit_spans", unit_spans.assign(hours_per_week=np.asarray(filled)))
