"""How old the part was when a reading was taken, and which part it was."""

import numpy as np
import pandas as pd

from dutylife.schema import as_table, spans_of_days


def age_readings(readings: pd.DataFrame, failure_events: pd.DataFrame) -> pd.DataFrame:
    """Fill age and part number of readings from the lives they were taken in.

    A reading as found is of the life that went on until that day, one as left of the life that
    began on it (age 0), or of the same life where nothing was renewed. Hours are those of the
    life's end less the life's mean use since; ages stay blank in lives of unknown age.

    Parameters
    ----------
    readings : DataFrame
        Table readings.
    failure_events : DataFrame
        Table failure_events.

    Returns
    -------
    DataFrame
        Table readings; what was filled already stays. Ages in days and the fleet's meter unit.
    """
    if readings.empty:
        return readings
    rows = readings.astype({"unit_id": "object", "component": "object"})
    rows = rows.assign(row=np.arange(len(rows)), read_late=rows["moment"] == "as left")
    lives = failure_events.astype({"unit_id": "object", "component": "object"})
    span_days = spans_of_days(lives["exit_days"] - lives["entry_days"])
    watched = (lives["ended_on"] - span_days).dt.normalize()
    # where the age is unknown the life still says which part it was
    lives = lives.assign(began_on=watched.fillna(lives["installed_on"]))
    columns = ["unit_id", "component", "began_on", "installed_on", "ended_on", "entry_days",
               "exit_days", "entry_hours", "exit_hours", "part_number", "life_number"]  # fmt: skip
    pairs = rows[["row", "unit_id", "component", "read_on", "read_late"]].merge(
        lives[columns], on=["unit_id", "component"], how="inner", sort=False
    )
    inside = (pairs["began_on"].isna() | (pairs["began_on"] <= pairs["read_on"])) & (
        pairs["read_on"] <= pairs["ended_on"]
    )
    pairs = pairs[inside].sort_values(["row", "life_number", "ended_on"], kind="stable")
    late = pairs["read_late"]
    first, last = ~pairs.duplicated("row", keep="first"), ~pairs.duplicated("row", keep="last")
    chosen = pairs[(late & last) | (~late & first)].set_index("row").reindex(rows["row"])
    since = (chosen["ended_on"] - chosen["read_on"]).dt.days
    age_days = (chosen["exit_days"] - since).clip(lower=0)
    watched_days = chosen["exit_days"] - chosen["entry_days"]
    use = (chosen["exit_hours"] - chosen["entry_hours"]) / watched_days.where(watched_days > 0)
    age_hours = (chosen["exit_hours"] - since * use).where(since > 0, chosen["exit_hours"])
    part = rows["part_number"].astype("object")
    there = chosen["part_number"].astype("object").set_axis(rows.index)
    return as_table(
        "readings",
        rows.assign(
            age_days=rows["age_days"].fillna(age_days.set_axis(rows.index)),
            age_hours=rows["age_hours"].fillna(age_hours.clip(lower=0).set_axis(rows.index)),
            part_number=part.where(part.notna(), there),
        ),
    )
