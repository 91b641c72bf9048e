"""How exact the fast ways of P9, P11, P12 and P13 are, each against a slow and plain one.

The same checks are tests elsewhere; here their figures stand in the table beside the speeds.
"""

import sys
from pathlib import Path

import decisions_speed
import numpy as np
from measuring import Aim, Figure
from scipy.optimize import minimize_scalar

for _folder in ("models", "stock"):
    sys.path.append(str(Path(__file__).parents[1] / _folder))
import test_batch_posterior as posteriors  # noqa: E402
import test_lattice as lattice  # noqa: E402
from made_cells import made_cells, rows_of  # noqa: E402

from dutylife.decisions.age_cells import cell_optima  # noqa: E402
from dutylife.decisions.age_table import optimal_ages  # noqa: E402
from dutylife.models.batch import fit_cells  # noqa: E402
from dutylife.models.batch.posterior import cell_posteriors  # noqa: E402
from dutylife.stock.part_law import Batch, Cumulants, SpanLaw, factorial_cumulants  # noqa: E402
from dutylife.stock.positions import Draws  # noqa: E402

N_CELLS, GRID, N_POSITIONS = 5, 601, 400


def _posterior_means(_: int) -> tuple[float, str]:
    """Farthest mean of log shape or log scale [posterior deviations] from a brute grid's."""
    lives = made_cells(N_CELLS, seed=12, late=True, fewest=3, most=60)
    fits = fit_cells(**lives)
    ours = cell_posteriors(fits, posteriors.MEAN, posteriors.COV)
    worst = 0.0
    for cell in range(N_CELLS):
        grid = posteriors.brute(rows_of(lives, cell), GRID)
        for what, by, points in (("shape", "by_q", "q"), ("scale", "by_s", "s")):
            mean = (grid[by] * grid[points]).sum()
            sd = np.sqrt((grid[by] * (grid[points] - mean) ** 2).sum())
            worst = max(worst, abs(ours.mean(what)[cell] - mean) / sd)
    return worst, f"farthest posterior mean of {N_CELLS} cells from a brute grid's [deviations]"


def _demand(_: int) -> tuple[float, str]:
    """Farthest chance of so much demand or less from the convolution over all positions."""
    rng, shape, scale = np.random.default_rng(N_POSITIONS), 1.6, 150.0
    positions = lattice.some_positions(N_POSITIONS, rng)
    draws = Draws(shape=np.array([shape]), scale=np.array([scale]), weight=np.ones(1))
    table = lattice.table_of(positions, draws)
    at, m = table.columns[0]
    own = table.at(positions, draws, is_known=True)[..., at : at + m]
    exact = np.ones(1)
    for age, unit in zip(positions.age, positions.days_per_unit, strict=True):
        one = lattice.fine_counts(shape, scale * unit, age, lattice.SPANS.end[0], per_day=4)
        exact = np.convolve(exact, one)
    cumulants = factorial_cumulants(own, np.ones(N_POSITIONS))
    term = Cumulants(factorial=cumulants, weight=np.ones(1), batch=Batch())
    gap = lattice.farthest(SpanLaw(terms=[term]).chances(), exact)
    return gap, f"greatest gap of chances, {N_POSITIONS} positions, to the exact convolution"


def _ages(_: int) -> tuple[float, str]:
    """Farthest age of the table from a minimum looked for to rounding [share of the age]."""
    from scipy.optimize import brentq
    from scipy.special import gamma, gammainc

    shapes, worst = np.exp(np.linspace(np.log(1.1), np.log(8.0), 40)), 0.0

    def slope(age: float, k: float, ratio: float) -> float:
        h = age**k
        lived = gamma(1 + 1 / k) * gammainc(1 / k, h)
        return float((ratio - 1) * (k * h / age * lived + np.expm1(-h)) - 1)

    for ratio in (1.3, 2.0, 5.0, 40.0):
        for k, found in zip(shapes, optimal_ages(shapes[None, :], [ratio], 1.0)[0], strict=True):
            if np.isfinite(found) and found**k < 30:  # beyond, nothing survives
                true = brentq(slope, found * 0.99, found * 1.01, args=(k, ratio), rtol=1e-12)
                worst = max(worst, abs(found / true - 1))
    return worst, f"farthest age of {len(shapes)} shapes and 4 cost ratios from its slope's root"


def _regret(_: int) -> tuple[float, str]:
    """Greatest share of cost lost against the best age a fine search finds."""
    n, m = 30, decisions_speed.N_NODES
    d = decisions_speed.laws(n, m)
    found = cell_optima(d["shape"], d["scale"], np.full((n, m), 1 / m), np.ones(n), d["ratio"])
    worst = 0.0
    for i in range(n):

        def mean(x: float, i: int = i) -> float:
            own = d["shape"][i], d["scale"][i], float(d["ratio"][i])
            return float(decisions_speed.cost_rate(np.exp(x), *own).mean())

        grid = np.log(d["scale"][i].mean()) + np.linspace(-5, 1.4, 400)
        at = grid[np.argmin([mean(x) for x in grid])]
        best = minimize_scalar(mean, bounds=(at - 0.05, at + 0.05), method="bounded").fun
        if np.isfinite(found.age[i]):
            worst = max(worst, mean(np.log(found.age[i])) / best - 1)
    return worst, f"greatest cost beyond the best of {n} cells [share]"


BENCHMARKS = (
    Figure("P9-means", Aim(1e-4), _posterior_means),
    Figure("P11-law", Aim(1e-3), _demand),
    Figure("P12-error", Aim(5e-6), _ages),
    Figure("P13-regret", Aim(1e-4), _regret),
)
