"""Days from one event of a component on a machine to the next, whatever was done."""

import pandas as pd

from dutylife.schema import as_table

CELL = ["unit_id", "component"]


def recurrence_gaps(maintenance_events: pd.DataFrame, last_seen: pd.Series) -> pd.DataFrame:
    """Gaps between events; comebacks count, repeats on one day do not.

    Parameters
    ----------
    maintenance_events : DataFrame, table "maintenance_events"
    last_seen : Series of dates, by unit_id
        Last line of any kind of each machine; the gap after the last event ends there, no event.

    Returns
    -------
    DataFrame, table "recurrence_gaps"
    """
    days = maintenance_events[[*CELL, "event_date"]].astype({c: "object" for c in CELL}).dropna()
    days = days.drop_duplicates().sort_values([*CELL, "event_date"], kind="stable")
    following = days.groupby(CELL, sort=False)["event_date"].shift(-1)
    last = pd.to_datetime(days["unit_id"].map(last_seen))
    last = last.where(last >= days["event_date"], days["event_date"])
    gaps = pd.DataFrame(
        {
            "unit_id": days["unit_id"],
            "component": days["component"],
            "from_date": days["event_date"],
            "to_date": following.fillna(last),
            "is_event": following.notna(),
        }
    )
    gaps["gap_days"] = (gaps["to_date"] - gaps["from_date"]).dt.days
    return as_table("recurrence_gaps", gaps)
