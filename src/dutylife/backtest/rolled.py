"""What a run of an earlier day would have known."""

import datetime as dt
from typing import Any

import pandas as pd

from dutylife.pipeline import run_stages
from dutylife.settings import Settings

BOOKING_DELAY_DAYS = 3  # lines of the last days were not booked yet; stated, not measured


def rolled_settings(settings: Settings, as_of: dt.date) -> Settings:
    """Settings without what was said later: corrections, days of leaving, a plan still to start."""
    customers = {
        name: c.model_copy(update={"left_on": None}) if c.left_on and c.left_on > as_of else c
        for name, c in settings.customers.items()
    }
    coding = settings.coding.model_copy(update={"corrections": ""})
    fleet = settings.fleet.model_copy(update={"as_of": as_of})
    report = settings.report.model_copy(update={"history": ""})  # scores of later months
    plan = settings.plan
    if plan.from_ and plan.from_ > as_of:  # until then the shop went on as it was
        plan = plan.model_copy(update={"in_force": "as seen", "from_": None})
    return settings.model_copy(
        update={
            "customers": customers, "coding": coding, "fleet": fleet, "report": report,
            "plan": plan,
        }
    )  # fmt: skip


def run_as_of(settings: Settings, as_of: dt.date) -> tuple[Settings, dict[str, pd.DataFrame]]:
    """Settings and tables of a run that knows only what was booked by ``as_of``.

    Notes
    -----
    Later lines are set aside by reading; lines of the last `BOOKING_DELAY_DAYS` days count as not
    booked yet. Coding starts afresh from the lines that are left: without corrections, so without
    the text model that learns from them. Days of leaving and spells of duty that begin later are
    taken out, machines that entered service later as well, and announced work, since nobody
    knows when it was announced. A machine's last known customer and duty stay: a list of
    machines says what is so today. Shelf prices, packs and lead times are today's.
    """

    def hide(stage: str, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
        return known_by(tables, as_of) if stage == "reading exports" else {}

    return run_stages(rolled_settings(settings, as_of), as_of=as_of, after=hide)


def known_by(tables: dict[str, pd.DataFrame], as_of: dt.date) -> dict[str, pd.DataFrame]:
    """Tables of the reading without what came later, those that change."""
    day = pd.Timestamp(as_of)
    lines = tables["service_lines"]
    booked = lines[lines["service_date"] <= day - pd.Timedelta(days=BOOKING_DELAY_DAYS)]
    units = tables["units"]
    seen = set(booked["unit_id"].astype(object).dropna())
    is_seen = units["unit_id"].astype(object).isin(seen)
    units = units[is_seen | ~(units["in_service_on"] > day)]
    units = units.assign(left_on=units["left_on"].where(units["left_on"] <= day))
    here = set(units["unit_id"].astype(object))
    spans = tables["unit_spans"]
    spans = spans[spans["unit_id"].astype(object).isin(here) & ~(spans["from_date"] > day)]
    spans = spans.assign(to_date=spans["to_date"].where(spans["to_date"] <= day))
    out: dict[str, Any] = {
        "service_lines": booked.reset_index(drop=True), "units": units.reset_index(drop=True),
        "unit_spans": spans.reset_index(drop=True), "contracts": tables["contracts"].iloc[:0],
    }  # fmt: skip
    if "readings" in tables:
        readings = tables["readings"]
        out["readings"] = readings[~(readings["read_on"] > day)].reset_index(drop=True)
    return out
