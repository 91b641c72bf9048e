"""P6 to P10: limits, bootstrap and posteriors of many cells, against their parts and plain ways.

``--rows`` is taken as in `models_speed`.
"""

from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial

import numpy as np
from measuring import NO_R, Aim, Benchmark, Growth, Pair
from models_speed import (
    SEED,
    has_r,
    lives,
    made_cells,
    n_cells_of,
    seconds_in_r,
    sizes_to,
    some_cells,
    wait,
)

from dutylife.models.batch import fit_cells
from dutylife.models.batch.bootstrap import bootstrap
from dutylife.models.batch.fit import CellFits
from dutylife.models.batch.posterior import CellPosteriors, cell_posteriors
from dutylife.models.batch.posterior_modes import Prior, posterior_modes

N_REPLICATES = 500
PRIOR_MEAN, PRIOR_COV = np.array([0.4, 6.0]), np.array([[0.16, 0.06], [0.06, 1.0]])
WALKERS, STEPS = 16, 1000
LOOPED = 4
REPLICATES_IN_R = """
suppressMessages(library(survival)); a <- read.csv("lives.csv"); n <- nrow(a)
start <- proc.time()[["elapsed"]]
for (i in 1:%d) { t <- rweibull(n, 1.5, 300); x <- data.frame(t = pmin(t, a$exit), d = t < a$exit)
  try(survreg(Surv(t, d) ~ 1, x, dist = "weibull"), silent = TRUE) }
cat(proc.time()[["elapsed"]] - start)
"""


def _limits(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows)
    fits = fit_cells(**lives(n))
    yield Pair(
        f"likelihood-ratio limits of shape and B10 of {n} cells / their fit",
        lambda: (fits.limits("shape"), fits.limits("b10")), lambda: fit_cells(**lives(n)),
    )  # fmt: skip


def limits_by_loop(fits: CellFits, cells: np.ndarray) -> list[float]:
    """Likelihood-ratio limits of shape and B10 (90 %), one after the other, by general tools.

    For each value held, the rest is maximised (`minimize_scalar`); the value at which the
    log-likelihood has fallen by half a chi-square quantile is found by `brentq`.
    """
    from scipy.optimize import brentq, minimize_scalar

    out = []
    for cell in cells:
        own = fits.codes == cell
        log_exit, failed = np.log(fits.lives["exit"][own]), fits.lives["event"][own] > 0.5
        entry = fits.lives["entry"][own]
        log_entry = np.log(entry[entry > 0])

        def height(q: float, b: float, x=log_exit, d=failed, e=log_entry) -> float:
            k = np.exp(q)
            z = k * x + b
            with np.errstate(over="ignore"):
                return float((q + z[d] - x[d]).sum() - np.exp(z).sum() + np.exp(k * e + b).sum())

        q, s = fits.log_shape[cell], fits.log_scale[cell]
        k = np.exp(q)
        floor = height(q, -k * s) - 2.705543454 / 2
        y = np.log(-np.log(0.9))

        def by_shape(x: float, mid=-k * s, up=height, low=floor, top=s) -> float:
            mid = -np.exp(x) * top
            found = minimize_scalar(lambda b: -up(x, b), bracket=(mid - 0.5, mid + 0.5))
            return -found.fun - low

        def by_b10(x: float, top=q, up=height, low=floor, y=y) -> float:
            found = minimize_scalar(
                lambda g: -up(g, y - np.exp(g) * x), bracket=(top - 0.3, top + 0.3)
            )
            return -found.fun - low

        for fall, at, step in ((by_shape, q, 0.2), (by_b10, s + y / k, 0.2 / k)):
            for side in (-1.0, 1.0):
                far = at + side * step
                while fall(far) > 0 and abs(far - at) < 50 * step:
                    far += side * step
                out.append(float(np.exp(brentq(fall, at, far))))
    return out


def _limits_by_loop(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows)
    fits = fit_cells(**lives(n))
    cells = some_cells(lives(n), LOOPED)
    yield Pair(
        f"a loop of brentq and minimize_scalar over {len(cells)} cells and taken for all / limits "
        f"of {n} cells",
        lambda: (fits.limits("shape"), fits.limits("b10")), lambda: limits_by_loop(fits, cells),
        whole=n / len(cells),
    )  # fmt: skip


def _numbers(n: int) -> None:
    rng, out = np.random.default_rng(1), np.empty(65_536, dtype=np.float32)
    for first in range(0, n, len(out)):
        rng.standard_exponential(dtype=np.float32, out=out[: min(len(out), n - first)])


def _bootstrapped(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows, 1_000)
    fits = fit_cells(**lives(n))
    drawn = len(lives(n)["exit"]) * N_REPLICATES
    yield Pair(
        f"{N_REPLICATES} replicates of {n} cells, {drawn} lives / their random numbers alone",
        lambda: bootstrap(fits, N_REPLICATES, SEED), lambda: _numbers(drawn),
    )  # fmt: skip


def _bootstrapped_by_r(n_rows: int) -> Iterable[Pair]:
    if not has_r():
        return
    n, replicates = n_cells_of(n_rows, 1_000), 500
    fits = fit_cells(**lives(n))
    size = np.bincount(lives(n)["cell"])
    cell = np.abs(size - size.mean()).argmin()
    seconds = seconds_in_r(lives(n), np.array([cell]), REPLICATES_IN_R % replicates)
    yield Pair(
        f"{replicates} replicates of a cell of middling size in R, taken for all / {N_REPLICATES} "
        f"of {n} cells",
        lambda: bootstrap(fits, N_REPLICATES, SEED), lambda: wait(seconds),
        whole=n * N_REPLICATES / replicates,
    )  # fmt: skip


def _bootstrap_growth(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    for n in sizes_to(n_cells_of(n_rows, 1_000)):
        yield n, partial(bootstrap, fit_cells(**lives(n)), N_REPLICATES, SEED)


@cache
def small_cells(n_cells: int) -> CellFits:
    """Cells of 3 to 60 lives, some without a failure."""
    return fit_cells(**made_cells(n_cells, seed=SEED, late=True, fewest=3, most=60))


def summaries(fits: CellFits) -> CellPosteriors:
    """Means and deviations of log shape, log scale and log B10, and a survival."""
    out = cell_posteriors(fits, PRIOR_MEAN, PRIOR_COV)
    for what in ("shape", "scale", "b10"):
        out.mean(what), out.sd(what)
    out.survival(300.0)
    return out


def _posteriors(n_rows: int) -> Iterable[Pair]:
    fits = small_cells(n_cells_of(n_rows))
    prior = Prior.of(PRIOR_MEAN, PRIOR_COV, fits.centre)
    yield Pair(
        f"posterior summaries of {len(fits.cells)} small cells / their posterior tops alone",
        lambda: summaries(fits), lambda: posterior_modes(fits.block, prior),
    )  # fmt: skip


def _posterior_growth(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    for n in sizes_to(n_cells_of(n_rows)):
        yield n, partial(summaries, small_cells(n))


def ensemble(fits: CellFits, cell: int, steps: int = STEPS, seed: int = 1) -> np.ndarray:
    """Draws of (log shape, log scale) by walkers that stretch towards one another.

    Goodman and Weare, "Ensemble samplers with affine invariance", Communications in Applied
    Mathematics and Computational Science 5 (2010) (cited from memory).
    """
    own = fits.codes == cell
    exit_, event = fits.lives["exit"][own], fits.lives["event"][own]
    log_exit, failed = np.log(exit_), event > 0.5
    log_entry = np.log(fits.lives["entry"][own][fits.lives["entry"][own] > 0])
    inverse = np.linalg.inv(PRIOR_COV)

    def height(at: np.ndarray) -> np.ndarray:
        q, s = at.T
        k = np.exp(q)[:, None]
        with np.errstate(over="ignore"):
            z = k * (log_exit - s[:, None])
            out = ((q[:, None] + z) * failed).sum(axis=1) - np.exp(z).sum(axis=1)
            out += np.exp(k * (log_entry - s[:, None])).sum(axis=1)
        off = at - PRIOR_MEAN
        return out - 0.5 * ((off @ inverse) * off).sum(axis=1)

    rng = np.random.default_rng(seed)
    at = rng.multivariate_normal(PRIOR_MEAN, PRIOR_COV, WALKERS)
    value, half = height(at), WALKERS // 2
    halves = slice(0, half), slice(half, None)
    out = np.empty((steps, WALKERS, 2))
    for step in range(steps):
        for mine, others in (halves, halves[::-1]):
            z = (rng.random(half) + 1.0) ** 2 / 2.0  # density 1 / sqrt(z) from 1/2 to 2
            there = at[others][rng.integers(0, half, half)]
            new = there + z[:, None] * (at[mine] - there)
            new_value = height(new)
            taken = np.log(rng.random(half)) < np.log(z) + new_value - value[mine]
            at[mine] = np.where(taken[:, None], new, at[mine])
            value[mine] = np.where(taken, new_value, value[mine])
        out[step] = at
    return out


def _against_sampling(n_rows: int) -> Iterable[Pair]:
    fits = small_cells(n_cells_of(n_rows))
    middling = int(np.abs(fits.n_lives - fits.n_lives.mean()).argmin())
    yield Pair(
        f"{WALKERS} walkers, {STEPS} steps for a cell, taken for all / posterior summaries of "
        f"{len(fits.cells)} small cells",
        lambda: summaries(fits), lambda: ensemble(fits, middling), whole=len(fits.cells),
    )  # fmt: skip


BENCHMARKS = (
    Benchmark("P6", Aim(6.0), _limits),
    Benchmark("P6-loop", Aim(150, at_least=True), _limits_by_loop),
    Benchmark("P7", Aim(3.0), _bootstrapped),
    Benchmark("P8", Aim(250, at_least=True), _bootstrapped_by_r, absent=NO_R),
    Benchmark("P9", Aim(6.5), _posteriors),
    Benchmark("P10", Aim(5_000, at_least=True), _against_sampling),
    Growth("P7-growth", Aim(5.8), "cells", _bootstrap_growth),
    Growth("P9-growth", Aim(5.8), "cells", _posterior_growth),
)
