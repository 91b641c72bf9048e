"""Failures found when the machine came for service: between which ages they happened."""

import pandas as pd

CELL = ["unit_id", "component", "position"]


def last_good_days(lives: pd.DataFrame, maintenance_events: pd.DataFrame) -> pd.Series:
    """Day on which the part of each life was last known to be good.

    Parameters
    ----------
    lives : DataFrame
        unit_id, component, position, watched_from, ended_on.
    maintenance_events : DataFrame, table "maintenance_events"

    Returns
    -------
    Series of dates, index as ``lives``
        The last day before the end on which an event on that component found it in order; without
        one, the first day the life was watched. An event that names no position counts for all.
    """
    columns = ["unit_id", "component", "position", "event_date"]
    good = maintenance_events.loc[maintenance_events["finding"] == "ok", columns]
    good = good.astype({"unit_id": "object", "component": "object", "position": "object"})
    good = good.dropna(subset=["unit_id", "component", "event_date"])
    good["position"] = good["position"].fillna("")
    good["good_on"] = good["event_date"]
    asked = lives[[*CELL, "ended_on"]].assign(row=range(len(lives)))
    found = []
    for key, rows in (
        (CELL, good), (CELL[:2], good[good["position"] == ""].drop(columns="position"))
    ):  # fmt: skip
        pairs = pd.merge_asof(
            asked.sort_values("ended_on", kind="stable"),
            rows.sort_values("event_date", kind="stable"),
            left_on="ended_on", right_on="event_date", by=key, allow_exact_matches=False,
        )  # fmt: skip
        found.append(pairs.set_index("row")["good_on"].sort_index().set_axis(lives.index))
    latest = pd.concat(found, axis=1).max(axis=1)
    since = pd.to_datetime(lives["watched_from"])
    return latest.where(latest > since, since)
