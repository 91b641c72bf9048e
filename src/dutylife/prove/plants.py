"""Faults planted between the stages: each must be seen on the page, or the proof proves nothing."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from dutylife.errors import DutylifeError
from dutylife.pipeline import AfterStage
from dutylife.schema import as_table, filled_from

Tables = dict[str, pd.DataFrame]
_ENDS = ("running", "lost")


def _entry_ignored(stage: str, tables: Tables) -> Tables:
    """Delayed entry ignored: what already ran when the record began counts as new on that day."""
    if stage != "lives":
        return {}
    lives = tables["failure_events"].astype({"clock_source": "object", "unit_id": "object"})
    start = tables["service_lines"]["service_date"].min()
    use = tables["units"].astype({"unit_id": "object"}).set_index("unit_id")["hours_per_week"]
    days = (lives["ended_on"] - start).dt.days.astype(float)
    hours = days * lives["unit_id"].map(use).astype(float) / 7.0
    running = lives["exit_days"].isna() & (lives["life_number"] == 1) & (days > 0)
    lives = lives.assign(
        installed_on=lives["installed_on"].where(~running, start),
        exit_days=lives["exit_days"].where(~running, days),
        exit_hours=lives["exit_hours"].where(~running, hours),
        age_se_hours=lives["age_se_hours"].where(~running, 0.0),
        clock_source=lives["clock_source"].where(~running, "estimated"),
    )
    for clock in ("days", "hours"):
        known = lives[f"exit_{clock}"].notna()
        lives[f"entry_{clock}"] = lives[f"entry_{clock}"].where(~known, 0.0)
    return _lives(lives)


def _replaced_failed(stage: str, tables: Tables) -> Tables:
    """Replaced counted as failed: a part changed while still able counts as a failure."""
    if stage != "lives":
        return {}
    lives = tables["failure_events"].astype({"event": "object"})
    return _lives(lives.assign(event=lives["event"].replace("replaced", "failed")))


def _month_late(stage: str, tables: Tables) -> Tables:
    """Quantiles shifted by one month: each month's forecast stands under the month after it."""
    if stage != "demand and stock":
        return {}
    forecast = tables["demand_forecast"]
    later = forecast["from_date"] + pd.DateOffset(months=1)
    return {"demand_forecast": as_table("demand_forecast", forecast.assign(from_date=later))}


def _survivors_dropped(stage: str, tables: Tables) -> Tables:
    """Survivors dropped: only lives that ended in the shop are kept."""
    if stage != "lives":
        return {}
    lives = tables["failure_events"]
    return _lives(lives[~lives["event"].isin(_ENDS)])


def _labels_shuffled(stage: str, tables: Tables) -> Tables:
    """Duty labels shuffled: each machine carries the duty of another, drawn blindly."""
    if stage != "lives":
        return {}
    lives = tables["failure_events"].astype({"unit_id": "object", "duty": "object"})
    spans = tables["unit_spans"].astype({"unit_id": "object", "duty": "object"})
    duty = spans.drop_duplicates("unit_id").set_index("unit_id")["duty"].sort_index()
    blind = np.random.default_rng(0).permutation(duty.to_numpy())
    new = pd.Series(blind, index=duty.index)
    lives = lives.assign(duty=filled_from(lives["unit_id"].map(new), lives["duty"]))
    spans = spans.assign(duty=filled_from(spans["unit_id"].map(new), spans["duty"]))
    return _lives(lives) | {"unit_spans": as_table("unit_spans", spans)}


def _leavers_kept(stage: str, tables: Tables) -> Tables:
    """Leavers kept: every machine counts as watched to the export's last day."""
    if stage != "lives":
        return {}
    lives = tables["failure_events"].astype({"event": "object"})
    last = tables["service_lines"]["service_date"].max()
    gone = lives["event"].isin(_ENDS)
    more = (last - lives["ended_on"]).dt.days.clip(lower=0).where(gone, 0.0)
    use = tables["units"].astype({"unit_id": "object"}).set_index("unit_id")["hours_per_week"]
    per_day = lives["unit_id"].astype("object").map(use).astype(float) / 7.0
    return _lives(
        lives.assign(
            exit_days=lives["exit_days"] + more,
            exit_hours=lives["exit_hours"] + (more * per_day).fillna(0.0),
            ended_on=lives["ended_on"].where(~gone, last),
            event=lives["event"].where(~gone, "running"),
        )
    )


def _lives(lives: pd.DataFrame) -> Tables:
    return {"failure_events": as_table("failure_events", lives)}


PLANTS: dict[str, Callable[[str, Tables], Tables]] = {
    "delayed entry ignored": _entry_ignored,
    "replaced counted as failed": _replaced_failed,
    "quantiles shifted by one month": _month_late,
    "survivors dropped": _survivors_dropped,
    "duty labels shuffled": _labels_shuffled,
    "leavers kept to the last day": _leavers_kept,
}


def plant_of(name: str) -> AfterStage | None:
    """Return the fault of that name as the pipeline takes it; None for a blank name.

    Raises
    ------
    DutylifeError
        There is no such fault.
    """
    if not name:
        return None
    if name not in PLANTS:
        raise DutylifeError(
            f"There is no planted fault '{name}'.", "plant", "one of: " + ", ".join(sorted(PLANTS))
        )
    return PLANTS[name]
