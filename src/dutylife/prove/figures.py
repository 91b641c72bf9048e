"""Scores of fleets to figures: a ratio of sums, with a standard error by fleets."""

import numpy as np
import pandas as pd

from dutylife.prove.jobs import SIZE
from dutylife.schema import as_table

ALL_SIZES = "all sizes"
KEY = ["fleet_kind", "case", "measure", "method", "among"]


def figures_of(fleets: pd.DataFrame, scores: pd.DataFrame) -> pd.DataFrame:
    """Figures of each case, and of all sizes together.

    Parameters
    ----------
    fleets, scores : DataFrame
        Tables "prove_fleets" and "prove_scores".

    Returns
    -------
    DataFrame
        Table "prove_figures". ``figure`` is the sum of totals over the sum of bases; the
        standard error takes each fleet as one cluster (a ratio estimator), since cells and parts
        of one fleet go together; missing where there is one fleet.
    """
    words = dict.fromkeys(["fleet", "measure", "method", "among"], "object")
    named = fleets[["fleet", "fleet_kind", "case"]].astype("object")
    rows = scores.astype(words).merge(named, on="fleet")
    together = rows[rows["fleet_kind"] == SIZE].assign(case=ALL_SIZES)
    rows = pd.concat([rows, together], ignore_index=True)
    by = rows.groupby(KEY)
    sums = by[["total", "base"]].transform("sum")
    rows["error2"] = (rows["total"] - sums["total"] / sums["base"] * rows["base"]) ** 2
    found = rows.groupby(KEY).agg(
        total=("total", "sum"), base=("base", "sum"), error2=("error2", "sum"),
        n_fleets=("fleet", "nunique"),
    ).reset_index()  # fmt: skip
    n = found["n_fleets"]
    spread = np.sqrt(found["error2"] * n / (n - 1).where(n > 1)) / found["base"]
    return as_table(
        "prove_figures",
        found.assign(figure=found["total"] / found["base"], standard_error=spread),
    )
