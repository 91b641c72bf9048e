"""The instrument before it judges: simulated lives against the laws they were drawn from."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dutylife.errors import FitError
from dutylife.models import fit_law
from dutylife.practice import PracticeFleet
from dutylife.schema import as_table

FEWEST_GAPS = 8


def check_instrument(fleets: Sequence[PracticeFleet]) -> pd.DataFrame:
    """Hold true lives against their true laws.

    Parameters
    ----------
    fleets : sequence of PracticeFleet
        Of the same fixed Weibull laws.

    Returns
    -------
    DataFrame
        Table "prove_instrument". ``ks_p``: cut and replaced lives can't be compared with the
        law as they stand; but the cumulative risk lived through between one failure and the
        next, over all lives of a cell in a row, is exponential with mean 1 when the lives follow
        their law, whatever cut them short (time rescaling). ``_ratio`` and ``_errors``: a
        maximum likelihood fit to all lives, survivors as such. Cells under 8 failures: left out.
    """
    lives = [fleet.lives.assign(fleet=number) for number, fleet in enumerate(fleets)]
    return check_lives(fleets[0].laws, pd.concat(lives, ignore_index=True))


def check_lives(true_laws: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Hold lives against laws, both of the form of ``PracticeFleet``; see `check_instrument`.

    Parameters
    ----------
    true_laws : DataFrame
    lives : DataFrame
        unit_id, component, duty, life_number, age_hours, age_days, event, and ``fleet``.
    """
    from scipy.stats import kstest

    laws = {(str(law["component"]), str(law["duty"])): law for law in true_laws.to_dict("records")}
    lives = lives.sort_values(["fleet", "unit_id", "component", "life_number"], kind="stable")
    rows = []
    for (component, duty), cell in lives.groupby(["component", "duty"], sort=True, observed=True):
        law = laws[str(component), str(duty)]
        shape, scale = float(law["shape"]), float(law["scale"])
        age = cell["age_hours" if law["clock"] == "hours" else "age_days"].to_numpy(float)
        failed = (cell["event"] == "failed").to_numpy(bool)
        alive = age > 0  # a machine that came and left on one day
        age, failed = age[alive], failed[alive]
        if failed.sum() < FEWEST_GAPS or law["distribution"] != "weibull":
            continue
        risk = np.cumsum((age / scale) ** shape)
        gaps = np.diff(np.concatenate([[0.0], risk[failed]]))
        row = {
            "component": component, "duty": duty, "n_lives": len(age),
            "n_failed": int(failed.sum()), "ks_p": float(kstest(gaps, "expon").pvalue),
        }  # fmt: skip
        try:
            rows.append(row | _fit(age, failed, shape, scale))
        except FitError:  # all failures at one age: the row says so by its blanks
            rows.append(row)
    return as_table("prove_instrument", pd.DataFrame(rows))


def _fit(age: np.ndarray, failed: np.ndarray, shape: float, scale: float) -> dict[str, float]:
    law = fit_law("weibull", age, failed)
    location, _, log_spread = law.covariance
    return {
        "shape_ratio": law.shape / shape,
        "scale_ratio": law.scale / scale,
        "shape_errors": float(np.log(law.shape / shape) / np.sqrt(log_spread)),
        "scale_errors": float(np.log(law.scale / scale) / np.sqrt(location)),
    }
