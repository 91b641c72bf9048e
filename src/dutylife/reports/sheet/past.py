"""Sections of the sheet on what is behind it: the parts in place with their ages, past visits."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.reports.facts import day, records
from dutylife.reports.layout import Section
from dutylife.reports.sheet.first import ages_words
from dutylife.reports.sheet.machine import MachineSheet
from dutylife.reports.tables import Shown, date_column, html_table

_MOST_VISITS = 5
_FROM = {
    "meter": "meter readings", "interpolated": "between readings",
    "estimated": "its use a week", "unknown": "",
}  # fmt: skip


def parts_in_place(sheet: MachineSheet) -> Section:
    """Return each part with its age on both clocks, where the age is from, and its usual life."""
    lives = _with_source(sheet)
    models = sheet.table("life_models")
    models = models[models["duty"] == sheet.machine["duty"]].set_index("component")
    events = sheet.of_machine("maintenance_events")
    failed = events[events["reason"] == "failure"].groupby("component").size()
    rows = [
        {
            "part": r.component + (f", {r.position}" if r.position else ""),
            "age": ages_words(r.age_hours, r.age_days, sheet.given.meter_unit)
            or at_least(r.seen_days),
            "since": day(r.installed_on) if pd.notna(r.installed_on) else "",
            "source": _FROM.get(r.clock_source, ""),
            "usual": _usual(models, r.component, sheet.given.meter_unit),
            "failed": int(failed.get(r.component, 0)),
        }
        for r in records(lives)
    ]
    shown = [
        Shown(name="part", heading="part"),
        Shown(name="age", heading="age", missing="not known"),
        date_text("since", "in place since"),
        Shown(name="source", heading="hours from", missing="fitting not on record"),
        Shown(name="usual", heading="half fail by, in this duty", missing="not enough evidence"),
        Shown(name="failed", heading="failures here", number=True),
    ]
    n = sum(r["failed"] for r in rows)
    answer = f"{wording.count(len(rows), 'part')} followed, {wording.count(n, 'failure')} so far."
    table = html_table(
        pd.DataFrame(rows, columns=[c.name for c in shown]), shown,
        caption=f"Parts in place on {day(sheet.given.as_of)}.",
        none="No part of this machine is on record.",
    )  # fmt: skip
    return Section("Its parts and their ages", answer if rows else "", (), (table,))


def date_text(name: str, heading: str) -> Shown:
    """Return a column of dates written before."""
    return Shown(name=name, heading=heading, missing="before the record", number=True)


def _with_source(sheet: MachineSheet) -> pd.DataFrame:
    """Lives in place with day of fitting and source of the hours, from the last row of each."""
    lives = sheet.of_machine("failure_events").sort_values(["life_number", "spell"], kind="stable")
    key = ["component", "position"]
    last = lives.drop_duplicates(key, keep="last")[[*key, "installed_on", "clock_source"]]
    return sheet.lives.merge(last, on=key, how="left").sort_values(key, kind="stable")


def at_least(seen_days: float) -> str:
    """Say how long a part of unknown age is known to be in place."""
    if pd.isna(seen_days) or seen_days <= 0:
        return ""
    return f"over {wording.count(round(seen_days), 'day')}"


def _usual(models: pd.DataFrame, component: str, meter_unit: str) -> str:
    if component not in models.index:
        return ""
    row: Any = models.loc[component]
    if row["basis"] == "starting value":
        return ""
    clock = "hours" if row["clock"] == "hours" else "days"
    at = row[f"b50_{clock}"]
    if pd.isna(at):
        return ""
    span = wording.age_range(
        row[f"b50_{clock}_lower"], row[f"b50_{clock}_upper"], clock, meter_unit
    )
    told = wording.meter(at, meter_unit) if clock == "hours" else wording.weeks(at)
    return f"{told} ({span})"


def visits(sheet: MachineSheet) -> Section:
    """Return the last visits: day, complaint, what was done."""
    lines = sheet.of_machine("service_lines")
    lines = lines.sort_values(["service_date", "ticket", "line_id"], kind="stable")
    rows = lines.groupby(["service_date", "ticket"], sort=False, dropna=False).agg(
        complaint=("complaint", _first), work=("work_done", _first), meter=("meter_hours", "max"),
        parts=("description", "count"),
    )  # fmt: skip
    rows = rows.reset_index()
    total = len(rows)
    rows = rows.tail(_MOST_VISITS).iloc[::-1]
    shown = [
        date_column("service_date", "day"),
        Shown(name="ticket", heading="ticket"),
        Shown(name="meter", heading="meter", unit=sheet.given.meter_short, number=True,
              write=lambda v: wording.number(v, 4)),
        Shown(name="complaint", heading="said", wide=True),
        Shown(name="work", heading="done", wide=True),
    ]  # fmt: skip
    table = html_table(
        rows, shown, caption="The last visits, newest first.", caption_unseen=True,
        none="This machine was never in.",
    )  # fmt: skip
    more = f", the last {len(rows)} here" if total > len(rows) else ""
    answer = f"{wording.count(total, 'visit')} on record{more}." if total else ""
    return Section("Its last visits", answer, (), (table,))


def _first(texts: pd.Series) -> str:
    told = [str(t) for t in texts if isinstance(t, str) and t]
    return (told[0][:200] + "...") if told and len(told[0]) > 200 else (told[0] if told else "")
