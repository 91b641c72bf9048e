"""Failures that the laws expect over the ages each life went through."""

import numpy as np
import pandas as pd

from dutylife.decisions.age_weibull import weibull_mean
from dutylife.decisions.cells import law_draws

_AT_ONCE = 1 << 15  # lives under every draw at once


def expected_failures(
    lives: pd.DataFrame, life_draws: pd.DataFrame, *, starting_values: bool = False
) -> pd.Series:
    """Failures expected of each life by its component's law in its duty.

    Parameters
    ----------
    lives : DataFrame
        Rows of table "failure_events"; where there, ``lived_hours`` and ``lived_days``: what a
        life of unknown age was watched for.
    life_draws : DataFrame, table "life_draws"
    starting_values : bool
        Also by laws that are nothing but the stated prior.

    Returns
    -------
    Series, index as ``lives``
        Cumulative hazard from entry to exit, mean over the draws; of a life of unknown age the
        steady rate times what it was watched for (0 where neither is known). Lives of cells
        without a law are left out. [1]
    """
    totals: list[pd.Series] = []
    draws = law_draws(life_draws)
    for key, mine in lives.groupby(["component", "duty"], sort=True, observed=True):
        law = draws.get((str(key[0]), str(key[1])))
        if law is None:
            continue
        if not starting_values and str(law["basis"].astype(object).iloc[0]) == "starting value":
            continue
        clock = "hours" if law["clock"].astype(object).iloc[0] == "hours" else "days"
        k, eta = law["shape"].to_numpy(float)[:, None], law["scale"].to_numpy(float)[:, None]
        weight = law["weight"].to_numpy(float) / law["weight"].sum()
        entry, end = mine[f"entry_{clock}"].to_numpy(float), mine[f"exit_{clock}"].to_numpy(float)
        hazard = np.concatenate(
            [
                weight @ ((end[i : i + _AT_ONCE] / eta) ** k - (entry[i : i + _AT_ONCE] / eta) ** k)
                for i in range(0, len(mine), _AT_ONCE)
            ]
        )
        # a part of unknown age fails at the steady rate
        name = f"lived_{clock}"
        lived = mine[name].to_numpy(float) if name in mine else end - entry
        steady = np.nan_to_num(lived) * float(weight @ (1 / weibull_mean(k, eta))[:, 0])
        totals.append(pd.Series(np.where(np.isfinite(hazard), hazard, steady), index=mine.index))
    return pd.concat(totals) if totals else pd.Series(dtype=float)
