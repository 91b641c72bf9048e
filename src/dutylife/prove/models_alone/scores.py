"""Ranges against the truth they were made for: how often they hold it, and how far off they are."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dutylife.models.checks import Array

MET, NOT_MET, TOO_FEW, NO_AIM = "met", "not met", "too few cells", "no aim"
ERRORS_ALLOWED = 2.0
FEWEST_GROUPS = 30  # fewer say nothing of their own spread


@dataclass(slots=True)
class Judged:
    """Ranges of one figure with their truths; ``group`` numbers those that go together.

    Standard errors take a group (the duties of a component, the pairs of a fleet) as one draw.
    """

    group: list[int] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    middle: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    truth: list[float] = field(default_factory=list)

    def add(self, group: int, found: tuple[float, float, float], truth: float) -> None:
        """Add the range of a cell: lower bound, middle, upper bound."""
        self.group.append(group)
        for values, value in zip((self.lower, self.middle, self.upper), found, strict=True):
            values.append(value)
        self.truth.append(truth)

    def row(self, aim: tuple[float, float] | None = None) -> dict[str, Any]:
        """Columns of a row of coverage; shares of all ranges added."""
        lower, middle, upper, truth = (
            np.asarray(v, dtype=float) for v in (self.lower, self.middle, self.upper, self.truth)
        )
        groups = np.asarray(self.group)
        below, above = truth < lower, truth > upper
        share, error = mean_by_group((~below & ~above).astype(float), groups)
        log_off, _ = mean_by_group(np.log(middle / truth), groups)
        least, most = aim or (math.nan, math.nan)
        n = len(truth)
        return {
            "n_cells": n, "n_groups": len(np.unique(groups)),
            "coverage": share, "coverage_se": error,
            "truth_below": float(below.mean()) if n else math.nan,
            "truth_above": float(above.mean()) if n else math.nan,
            "middle_ratio": math.exp(log_off),
            "width_ratio": float(np.exp(np.median(np.log(upper / lower)))) if n else math.nan,
            "aim_least": least, "aim_most": most,
            "answer": answer_of(share, error, len(np.unique(groups)), aim),
        }  # fmt: skip


def mean_by_group(values: Array, groups: Array) -> tuple[float, float]:
    """Mean of all values, and its standard error with groups as single draws.

    Parameters
    ----------
    values, groups : array, shape (n,)

    Returns
    -------
    (float, float)
        Missing where there is no value; the error also where there is one group.

    Examples
    --------
    >>> mean_by_group(np.array([1.0, 1.0, 0.0, 0.0]), np.array([0, 0, 1, 1]))
    (0.5, 0.5)
    """
    if not len(values):
        return math.nan, math.nan
    mean = float(values.mean())
    off = np.bincount(np.unique(groups, return_inverse=True)[1], weights=values - mean)
    n = len(off)
    if n < 2:
        return mean, math.nan
    return mean, float(np.sqrt((off**2).sum() * n / (n - 1)) / len(values))


def answer_of(
    figure: float, error: float, n_groups: int, aim: tuple[float, float] | None
) -> str:  # fmt: skip
    """Whether an aim is met; where chance may have missed it, too few cells to tell."""
    if aim is None:
        return NO_AIM
    if n_groups < FEWEST_GROUPS:
        return TOO_FEW
    least, most = aim
    if least <= figure <= most:
        return MET
    off = max(least - figure, figure - most)
    return NOT_MET if math.isfinite(off) and off > ERRORS_ALLOWED * error else TOO_FEW


def error_row(
    pooled: Sequence[float], separate: Sequence[float], group: Sequence[int], most: float | None
) -> dict[str, Any]:
    """Root mean squares of log errors of the same cells, and one over the other.

    Parameters
    ----------
    pooled, separate : sequence of float
        Log of estimate over truth.
    group : sequence of int
        Component of each cell; the standard error of the ratio takes one as a single draw.
    most : float or None
        Aim of the ratio.
    """
    a, b = np.square(np.asarray(pooled, dtype=float)), np.square(np.asarray(separate, dtype=float))
    groups = np.asarray(group)
    ratio = math.sqrt(a.mean() / b.mean()) if len(a) else math.nan
    # the ratio of the two means, its error by groups, halved for the root
    _, spread = mean_by_group(a - ratio**2 * b, groups) if len(a) else (0.0, math.nan)
    error = spread / b.mean() / (2.0 * ratio) if len(a) else math.nan
    return {
        "n_cells": len(a), "n_groups": len(np.unique(groups)),
        "error_pooled": math.sqrt(a.mean()) if len(a) else math.nan,
        "error_separate": math.sqrt(b.mean()) if len(b) else math.nan,
        "error_ratio": ratio, "error_ratio_se": error,
        "aim_most": math.nan if most is None else most,
        "answer": answer_of(
            ratio, error, len(np.unique(groups)), None if most is None else (0.0, most)
        ),
    }  # fmt: skip
