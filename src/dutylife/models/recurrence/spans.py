"""Lives of the failure-event table as spans in a row on their machines, by date and by clock."""

import numpy as np
import pandas as pd

from dutylife.schema import days_at, spans_of_days

PLACE = ["unit_id", "component", "position"]
CAUSE_SHARE = 0.5  # a failure that is shared counts for a part that was more likely the cause
_READ = [
    *PLACE, "duty", "life_number", "spell", "installed_on", "ended_on", "entry_days", "exit_days",
    "entry_hours", "exit_hours", "event", "is_comeback", "weight",
]  # fmt: skip


def spans_in_a_row(failure_events: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """Give each life's span on its machine, and whether it was watched whole.

    Parameters
    ----------
    failure_events, units : DataFrame
        Tables of these names.

    Returns
    -------
    DataFrame
        Of the lives whose start of watching is known, in the order they came: component, duty,
        ``place`` (machine and position), ``run`` (stretch in one duty without a gap), start and
        end (dates), ``new_on`` (the machine entered service, missing where not known),
        ``failed``, ``renewed`` (ended by failure or change), ``whole`` (from the end before, or
        from new, to an end of its own), days, hours (missing where not known).

    Notes
    -----
    A life ended by a comeback stays out, as of the laws: it is poor work, not the machine.
    """
    words = ["unit_id", "component", "position", "duty", "event"]
    rows = failure_events[_READ].astype(dict.fromkeys(words, "object"))
    rows["position"] = rows["position"].fillna("")
    rows = rows.sort_values([*PLACE, "ended_on", "life_number", "spell"], kind="stable")
    rows = rows.reset_index(drop=True)
    before = rows.groupby(PLACE, sort=False).shift()
    watched = spans_of_days(rows["exit_days"] - rows["entry_days"])
    rows["start"] = (rows["ended_on"] - watched).dt.floor("D").fillna(before["ended_on"])
    follows = (rows["start"] - before["ended_on"]).dt.days.abs() <= 1
    same = follows & (before["duty"] == rows["duty"])
    ended = rows["event"].isin(["failed", "replaced"])
    new = (rows["entry_days"] == 0) & rows["installed_on"].notna() & before["ended_on"].isna()
    from_start = new | (same & before["event"].isin(["failed", "replaced"]))
    out = rows.assign(
        renewed=ended,
        whole=from_start & ended,
        run=(~same).cumsum(),
        failed=(rows["event"] == "failed") & (rows["weight"].fillna(1.0) >= CAUSE_SHARE),
        place=rows["unit_id"].astype(str) + "\n" + rows["position"].astype(str),
    ).rename(columns={"ended_on": "end"})
    out["days"] = (out["end"] - out["start"]).dt.days.astype(float)
    known = out["entry_hours"] == 0
    out["hours"] = (out["exit_hours"] - out["entry_hours"]).where(known)
    out["new_on"] = _new_on(out, units)
    kept = out["start"].notna() & ~out["is_comeback"].fillna(False).astype(bool)
    return out.loc[kept & (out["days"] >= 0)].reset_index(drop=True)


def _new_on(rows: pd.DataFrame, units: pd.DataFrame) -> pd.Series:
    """Day the machine entered service, by the list or by the part it came with."""
    listed = units.astype({"unit_id": "object"}).set_index("unit_id")["in_service_on"]
    given = days_at(rows["unit_id"], listed[~listed.index.duplicated()])
    # a first part that is known to be the machine's own tells the day too
    first = rows[(rows["life_number"] == 1) & rows["installed_on"].notna()]
    own = first.groupby("unit_id")["installed_on"].min()
    return given.fillna(days_at(rows["unit_id"], own))


def length_of(rows: pd.DataFrame, clock: str) -> tuple[str, np.ndarray]:
    """Clock of a cell's whole lives and their lengths on it; days where hours are mostly unknown.

    Parameters
    ----------
    rows : DataFrame
        Whole lives of `spans_in_a_row`.
    clock : {"hours", "days"}
        That of the component.
    """
    if clock == "hours" and len(rows) and rows["hours"].notna().mean() >= 0.5:
        return "hours", rows["hours"].to_numpy(float)
    return "days", rows["days"].to_numpy(float)
