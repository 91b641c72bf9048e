"""Machines that came within the record, new, without a day of entering service being written."""

import numpy as np
import pandas as pd

FEWEST_DATED = 8  # machines with a day of entering service that tell how others came; our proposal
MOSTLY_NEW = 0.9  # of these came new; our proposal


def came_new_on(units: pd.DataFrame) -> pd.Series:
    """Day on which machines without one are likely to have entered service, new.

    Parameters
    ----------
    units : DataFrame, table "units"

    Returns
    -------
    Series of datetime, index unit_id
        Missing for machines that have their day, or of which nothing can be said.

    Notes
    -----
    Of the machines first seen from some day on and whose day is known, nearly all may have entered
    service after the record began, of the first eight of them all but one: whoever first comes so
    late is a new machine, where the shop's customers buy new. The earliest such day is taken; a
    machine without a day that was first seen after it is taken to be new, too, and to have run
    before its first visit as long as the dated ones have on average. Where fewer than
    `FEWEST_DATED` tell, or fewer than `MOSTLY_NEW` of them were new, nothing is said: parts of such
    machines are as old as parts met at any time.
    """
    rows = units.astype({"unit_id": "object"}).set_index("unit_id")
    seen, entered = rows["first_seen"], rows["in_service_on"]
    out = pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]")
    dated = rows[seen.notna() & entered.notna() & (entered <= seen)]
    dated = dated.sort_values("first_seen", ascending=False, kind="stable")
    is_new = (dated["in_service_on"] > seen.min()).to_numpy(dtype=float)
    n = np.arange(1, len(dated) + 1)
    # machines first seen on one day go together
    last_of_day = dated["first_seen"].ne(dated["first_seen"].shift(-1)).to_numpy(dtype=bool)
    total = np.cumsum(is_new)
    # many late ones must not outvote the first of the group
    earlier = np.concatenate([np.zeros(FEWEST_DATED), total])[: len(total)]
    first_are_new = total - earlier >= FEWEST_DATED - 1
    told = np.flatnonzero(
        last_of_day & (n >= FEWEST_DATED) & (total >= MOSTLY_NEW * n) & first_are_new
    )
    if not len(told):
        return out
    among = dated.iloc[: told[-1] + 1]
    among = among[among["in_service_on"] > seen.min()]
    wait = (among["first_seen"] - among["in_service_on"]).mean()
    late = entered.isna() & (seen >= dated["first_seen"].iloc[told[-1]])
    began = (seen[late] - wait).dt.normalize()
    out[late] = began.clip(lower=seen.min()).astype("datetime64[ns]")
    return out
