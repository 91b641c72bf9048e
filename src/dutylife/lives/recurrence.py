"""Days from one event of a component on a machine to the next, whatever was done."""

import numpy as np
import pandas as pd

from dutylife.lives.clocks.order import in_a_row
from dutylife.schema import as_table, days_at

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
    days = maintenance_events[[*CELL, "event_date"]].dropna()
    order, goes_on = in_a_row(*(days[name] for name in CELL), day=days["event_date"])
    days = days.iloc[order]
    # repeats of a cell on one day are one event
    again = goes_on & (days["event_date"] == days["event_date"].shift()).to_numpy()
    days, goes_on = days[~again], goes_on[~again]
    following = days["event_date"].shift(-1).where(np.append(goes_on, False)[1:])
    days = days.astype({c: "object" for c in CELL})
    last = days_at(days["unit_id"], last_seen)
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
