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
        standard error takes fleets of one seed as one cluster (a ratio estimator): cells and parts
        of a fleet go together, and fleets of several sizes share the machines of their seed;
        missing where there is one seed.
    """
    words = dict.fromkeys(["fleet", "measure", "method", "among"], "object")
    named = fleets[["fleet", "fleet_kind", "case", "seed"]].astype("object")
    rows = scores.astype(words).merge(named, on="fleet")
    together = rows[rows["fleet_kind"] == SIZE].assign(case=ALL_SIZES)
    rows = pd.concat([rows, together], ignore_index=True)
    made = rows.groupby(KEY)["fleet"].nunique()
    rows = rows.groupby([*KEY, "seed"])[["total", "base"]].sum().reset_index()
    by = rows.groupby(KEY)
    sums = by[["total", "base"]].transform("sum")
    rows["error2"] = (rows["total"] - sums["total"] / sums["base"] * rows["base"]) ** 2
    found = rows.groupby(KEY).agg(
        total=("total", "sum"), base=("base", "sum"), error2=("error2", "sum"),
        n_seeds=("seed", "size"),
    ).join(made.rename("n_fleets")).reset_index()  # fmt: skip
    n = found["n_seeds"]
    spread = np.sqrt(found["error2"] * n / (n - 1).where(n > 1)) / found["base"]
    return as_table(
        "prove_figures",
        found.assign(figure=found["total"] / found["base"], standard_error=spread),
    )
