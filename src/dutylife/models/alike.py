"""Duties whose lives can't be told apart: proposed for merging, never merged unasked."""

import math
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.errors import FitError
from dutylife.intake.findings import finding, first_few
from dutylife.models.cells import CellLives, clock_of, lives_on, usable_lives
from dutylife.models.fitting import fit_law
from dutylife.schema import as_table
from dutylife.settings import Settings

FEWEST_FAILURES = 5  # of a component in both duties, before they are compared by it
ALIKE = (0.8, 1.25)  # lives of one duty over those of the other: within it, the same to a workshop
LEAST_P = 0.2  # a test that finds a difference at this level speaks against merging
_Z_90 = 1.6448536269514722


def alike_duties(failure_events: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Findings that propose to merge two duties.

    Parameters
    ----------
    failure_events : DataFrame, table "failure_events"
    settings : Settings

    Returns
    -------
    DataFrame, table "findings"
        A note for each pair of duties whose lives are alike, with the figures.

    Notes
    -----
    For each component with at least `FEWEST_FAILURES` failures in both duties, a Weibull law of one
    shape for both gives the ratio of their scales, and the likelihood ratio of one scale against
    two. The sum of these over components is held against chi-square; the mean log ratio, each
    weighted by its failures, has to lie within `ALIKE` with its whole 90 % range. So little data
    never proposes a merger: it takes evidence that they are the same.
    """
    usable = usable_lives(failure_events, settings.coding.comeback_days)
    known = components_of(settings)
    told: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for name, lives in usable.groupby("component", sort=True):
        about = known.get(str(name), Component(name=str(name)))
        clock = clock_of(lives, lives, about)
        cells = {str(d): lives_on(rows, clock) for d, rows in lives.groupby("duty", sort=True)}
        cells = {d: c for d, c in cells.items() if c.failures >= FEWEST_FAILURES}
        for pair in combinations(sorted(cells), 2):
            compared = _compared(*(cells[d] for d in pair))
            if compared is not None:
                told.setdefault((pair[0], pair[1]), []).append(compared)
    rows = [_proposal(pair, found) for pair, found in sorted(told.items())]
    return as_table("findings", pd.DataFrame([r for r in rows if r is not None]))


def _compared(one: CellLives, two: CellLives) -> tuple[float, float, float] | None:
    """Log ratio of the scales, its variance, and the likelihood ratio of one scale for both."""
    exit_, event, entry, weight = (
        np.concatenate([getattr(one, n), getattr(two, n)])
        for n in ("exit", "event", "entry", "weight")
    )
    try:
        shape = fit_law("weibull", exit_, event, entry=entry, weights=weight).shape
    except FitError:  # all failures at one age: nothing to compare by
        return None
    used = [float((c.weight * (c.exit**shape - c.entry**shape)).sum()) for c in (one, two)]
    failed = [c.failures for c in (one, two)]
    log_ratio = math.log(used[0] / failed[0] / (used[1] / failed[1])) / shape
    variance = (1.0 / failed[0] + 1.0 / failed[1]) / shape**2
    apart = sum(d * math.log(d / s) for d, s in zip(failed, used, strict=True))
    together = sum(failed) * math.log(sum(failed) / sum(used))
    return log_ratio, variance, 2.0 * (apart - together)


def _proposal(
    pair: tuple[str, str], found: list[tuple[float, float, float]]
) -> dict[str, Any] | None:
    from scipy.stats import chi2

    ratio, variance, test = (np.array(v) for v in zip(*found, strict=True))
    weight = (1.0 / variance) / (1.0 / variance).sum()
    mean, error = float(weight @ ratio), math.sqrt(1.0 / float((1.0 / variance).sum()))
    low, high = math.exp(mean - _Z_90 * error), math.exp(mean + _Z_90 * error)
    p_value = float(chi2.sf(test.sum(), len(found)))
    if p_value < LEAST_P or low < ALIKE[0] or high > ALIKE[1]:
        return None
    return finding(
        "models", "note",
        f"Parts last alike in {first_few(pair)}: in '{pair[0]}' {math.exp(mean):.2f} times as long "
        f"({low:.2f} to {high:.2f}; {len(found)} components; a difference this large comes by "
        f"chance in {100 * p_value:.0f} of 100). As one duty each law would stand on more lives.",
        mend="if the work is the same, give both one name in duty.csv or [duty]",
        table="life_models", key=f"duty {pair[0]}, {pair[1]}",
    )  # fmt: skip
