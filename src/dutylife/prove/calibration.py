"""Simulation-based calibration: whether ranks of the truth among a cell's draws are even."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife.schema import as_table

MANY_BINS, FEW_BINS = 13, 5  # both divide the 65 ranks that 64 draws leave
CELLS_A_BIN = 10
ANY_BASIS = "any"


def calibration_of(rows: list[dict[str, Any]]) -> dict[str, pd.DataFrame]:
    """Count ranks, and test that they are even.

    Parameters
    ----------
    rows : list of dict
        case, component, duty, basis, what, rank, n_draws, as of `laws.true_ranks`.

    Returns
    -------
    dict of DataFrame
        "prove_ranks" and "prove_calibration". Where the laws are drawn from the very prior that
        the models state and the draws are right, every rank is as likely as another. A hump says
        the draws are too wide, a bowl too narrow, a slope to one side.
    """
    if not rows:
        return {
            "prove_ranks": _empty("prove_ranks"),
            "prove_calibration": _empty("prove_calibration"),
        }
    frame = pd.DataFrame(rows)
    frame = pd.concat([frame, frame.assign(basis=ANY_BASIS)], ignore_index=True)
    by = ["case", "what", "basis", "rank", "n_draws"]
    counts = frame.groupby(by).size().rename("n_cells").reset_index()
    tests = [
        dict(zip(("case", "what", "basis"), key, strict=True)) | _test(group)
        for key, group in frame.groupby(["case", "what", "basis"])
    ]
    return {
        "prove_ranks": as_table("prove_ranks", counts),
        "prove_calibration": as_table("prove_calibration", pd.DataFrame(tests)),
    }


def _test(group: pd.DataFrame) -> dict[str, float]:
    from scipy.stats import chisquare

    n_bins = MANY_BINS if len(group) >= CELLS_A_BIN * MANY_BINS else FEW_BINS
    share = (group["rank"] + 0.5) / (group["n_draws"] + 1)
    counts = np.bincount((share * n_bins).astype(int), minlength=n_bins)
    found = chisquare(counts)
    return {
        "n_cells": len(group), "n_bins": n_bins, "chi_square": float(found.statistic),
        "p_value": float(found.pvalue),
    }  # fmt: skip


def _empty(table: str) -> pd.DataFrame:
    from dutylife.schema import empty_table

    return empty_table(table)
