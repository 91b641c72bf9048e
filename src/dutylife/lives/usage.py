"""How much each machine runs: stated, from its own meter, or from machines like it."""

import numpy as np
import pandas as pd

from dutylife.lives.clocks.paths import MeterPaths
from dutylife.settings import Settings

DAYS_PER_WEEK = 7.0
SMALLEST_CV = 0.3  # of use rates between machines of one duty; our proposal
FEWEST_RATES = 3  # below it the spread of rates is not told by the data


def usage_of(units: pd.DataFrame, paths: MeterPaths, settings: Settings) -> pd.DataFrame:
    """Use rate of each unit, the first of these that is known.

    Stated (machines file), own meter, median of duty and equipment class, median of the duty,
    median of the fleet, ``[fleet] hours_per_week``.

    Parameters
    ----------
    units : DataFrame
        Columns unit_id, duty, equipment_class, hours_per_week (stated, may be missing).

    Returns
    -------
    DataFrame
        Columns unit_id, hours_per_week, usage_source, rate_cv (spread of the rate as a share of
        it, where it is not the unit's own). [meter unit per week, 1]
    """
    out = units[["unit_id", "duty", "equipment_class"]].astype("object").copy()
    stated = units["hours_per_week"].astype(float).where(lambda r: r > 0)
    own_rate = np.append(paths.rate * DAYS_PER_WEEK, np.nan)  # the last is that of no reading
    own = pd.Series(own_rate[paths.of(out["unit_id"])], index=out.index)
    known = stated.fillna(own)
    out["known"] = known
    by_both = out.groupby(["duty", "equipment_class"])["known"].transform("median")
    by_duty = out.groupby("duty")["known"].transform("median")
    general = settings.fleet.hours_per_week
    candidates = [
        ("stated", stated),
        ("meter", own),
        ("duty and class", by_both),
        ("duty and class", by_duty),
        ("fleet", pd.Series(float(known.median()) if known.notna().any() else np.nan, out.index)),
        ("fleet", pd.Series(np.nan if general is None else general, out.index)),
    ]
    rate = pd.Series(np.nan, index=out.index)
    source = pd.Series("unknown", index=out.index, dtype="object")
    for name, values in candidates:
        new = rate.isna() & values.notna()
        rate, source = rate.where(~new, values), source.where(~new, name)
    spread = out.groupby("duty")["known"].agg(["std", "mean", "count"])
    cv = (spread["std"] / spread["mean"]).where(spread["count"] >= FEWEST_RATES)
    out["rate_cv"] = out["duty"].map(cv).astype(float).clip(lower=SMALLEST_CV).fillna(SMALLEST_CV)
    out["hours_per_week"], out["usage_source"] = rate, source
    return out[["unit_id", "hours_per_week", "usage_source", "rate_cv"]]
