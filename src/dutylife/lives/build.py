"""Coded events and machines made into the failure-event table: one life a row."""

import numpy as np
import pandas as pd

from dutylife.lives.blocks import blocks_of, lives_of_blocks
from dutylife.lives.chain import Fleet
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.ends import carried_by_class
from dutylife.lives.meter import days_of, meter_paths
from dutylife.lives.notes import notes_of
from dutylife.lives.positions import n_positions
from dutylife.lives.recurrence import recurrence_gaps
from dutylife.lives.usage import DAYS_PER_WEEK, usage_of
from dutylife.lives.watch import Watch, last_day, watch_machines
from dutylife.schema import as_table
from dutylife.settings import Settings


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
    fleet = Fleet(
        settings=settings, record_start=watch.record_start, positions=positions,
        by_class=carried_by_class(events, of_class),
    )  # fmt: skip
    blocks = blocks_of(watch.machines, events, unit_spans, evidence, paths, usage)
    table = as_table("failure_events", lives_of_blocks(fleet, blocks))
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
