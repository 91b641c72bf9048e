"""P1 to P10: laws of many cells at once, against one pass over the rows, plain loops and R.

``--rows`` sets the number of cells: a hundredth of it (1 million: the 10,000 cells the targets are
stated for, with about a million lives). What R does is measured only where `Rscript` with its
package survival is found.
"""

import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from ratios import Benchmark, Pair

sys.path.insert(0, str(Path(__file__).parents[1] / "models"))
from made_cells import made_cells, rows_of  # noqa: E402

from dutylife.models.batch import fit_cells  # noqa: E402
from dutylife.models.batch.bootstrap import bootstrap  # noqa: E402
from dutylife.models.batch.fit import CellFits  # noqa: E402
from dutylife.models.batch.posterior import CellPosteriors, cell_posteriors  # noqa: E402
from dutylife.models.batch.posterior_modes import Prior, posterior_modes  # noqa: E402

ROWS_A_CELL, SEED = 100, 1
N_REPLICATES = 500
PRIOR_MEAN, PRIOR_COV = np.array([0.4, 6.0]), np.array([[0.16, 0.06], [0.06, 1.0]])
WALKERS, STEPS = 16, 1000
R_IN = "lives.csv"


def n_cells_of(n_rows: int, most: int = 10_000) -> int:
    """Cells of a benchmark of that size."""
    return min(max(n_rows // ROWS_A_CELL, 30), most)


@cache
def lives(n_cells: int, late: bool = True, between: bool = False) -> dict[str, np.ndarray]:
    """Cells of 5 to 500 lives: D1 right-censored, D2 with late entries, D3 with looks too."""
    return made_cells(n_cells, seed=SEED, late=late, between=between)


def _one_pass(n_rows: int) -> Iterable[Pair]:
    d2 = lives(n_cells_of(n_rows))
    x, out = np.random.default_rng(1).random(len(d2["exit"])), np.empty(len(d2["exit"]))
    yield Pair(
        f"{n_cells_of(n_rows)} cells, {len(x)} lives, preparation and fit / one np.exp pass",
        lambda: fit_cells(**d2), lambda: np.exp(x, out=out),
    )  # fmt: skip


def _growth(n_rows: int) -> Iterable[Pair]:
    """Seconds a life at 5 and 50 times as many cells, over those at one: 1 is linear growth."""
    few = n_cells_of(n_rows, 1_000)
    for times in (10, 50):
        small, large = lives(few), lives(times * few)
        whole = len(large["exit"]) / len(small["exit"])
        yield Pair(
            f"{times * few} cells, {len(large['exit'])} lives / {few} cells, by the life",
            lambda large=large: fit_cells(**large), lambda small=small: fit_cells(**small),
            whole=whole,
        )  # fmt: skip


def some_cells(d: dict[str, np.ndarray], n: int) -> np.ndarray:
    """Cells spread over the sizes, so that a part stands for the whole by its lives."""
    size = np.bincount(d["cell"])
    failed = np.bincount(d["cell"], d["event"])
    able = np.flatnonzero(failed >= 3)
    order = able[np.argsort(size[able], kind="stable")]
    return order[np.linspace(0, len(order) - 1, min(n, len(order))).astype(int)]


def lifelines_loop(d: dict[str, np.ndarray], cells: np.ndarray) -> list[tuple[float, float]]:
    """One lifelines fit a cell."""
    from lifelines import WeibullFitter

    out = []
    for cell in cells:
        own = rows_of(d, cell)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            law = WeibullFitter().fit(own["exit"], own["event"], entry=own["entry"])
        out.append((law.rho_, law.lambda_))
    return out


def _against_lifelines(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows)
    d2, cells = lives(n), some_cells(lives(n), 40)
    share = np.isin(d2["cell"], cells).mean() * n / len(cells)
    yield Pair(
        f"{n} cells / a lifelines loop over {len(cells)} of them and taken for all; these have "
        f"{share:.2f} times the lives of the average cell (P2 turned over: its 8,000 is 0.000125)",
        lambda: fit_cells(**d2), lambda: lifelines_loop(d2, cells), whole=n / len(cells),
    )  # fmt: skip


def has_r() -> bool:
    """Whether R and its package survival are there."""
    found = shutil.which("Rscript")
    if found is None:
        return False
    code = 'quit(status = !requireNamespace("survival", quietly = TRUE))'
    return subprocess.run([found, "-e", code], capture_output=True).returncode == 0


FITS_IN_R = """
suppressMessages(library(survival)); a <- read.csv("lives.csv"); one <- split(a, a$cell)
start <- proc.time()[["elapsed"]]
for (x in one) try(survreg(Surv(exit, event) ~ 1, x, dist = "weibull"), silent = TRUE)
cat(proc.time()[["elapsed"]] - start)
"""
REPLICATES_IN_R = """
suppressMessages(library(survival)); a <- read.csv("lives.csv"); n <- nrow(a)
start <- proc.time()[["elapsed"]]
for (i in 1:%d) { t <- rweibull(n, 1.5, 300); x <- data.frame(t = pmin(t, a$exit), d = t < a$exit)
  try(survreg(Surv(t, d) ~ 1, x, dist = "weibull"), silent = TRUE) }
cat(proc.time()[["elapsed"]] - start)
"""


def seconds_in_r(d: dict[str, np.ndarray], cells: np.ndarray, code: str) -> float:
    """What R says its loop took, without its start."""
    own = np.isin(d["cell"], cells)
    with tempfile.TemporaryDirectory() as folder:
        frame = pd.DataFrame({k: np.asarray(v[own], float) for k, v in d.items()})
        frame.to_csv(Path(folder) / R_IN, index=False)
        told = subprocess.run(
            ["Rscript", "-e", code], cwd=folder, capture_output=True, text=True, check=True
        )
    return float(told.stdout)


def _wait(seconds: float) -> None:
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        time.sleep(max(end - time.perf_counter(), 0.0))


def _against_r(n_rows: int) -> Iterable[Pair]:
    if not has_r():
        return
    n = n_cells_of(n_rows)
    d1, cells = lives(n, late=False), some_cells(lives(n, late=False), 500)
    seconds = seconds_in_r(d1, cells, FITS_IN_R)
    yield Pair(
        f"{n} cells / survreg over {len(cells)} of them and taken for all, timed by R itself "
        "(P3 turned over: its 150 is 0.0067)",
        lambda: fit_cells(**d1), lambda: _wait(seconds), whole=n / len(cells),
    )  # fmt: skip


def keyed(n_cells: int, as_words: bool) -> pd.DataFrame:
    """Lives in no order, their cells named by three columns."""
    d2 = lives(n_cells)
    order = np.random.default_rng(4).permutation(len(d2["cell"]))
    cell = d2["cell"][order]
    frame = pd.DataFrame({k: d2[k][order] for k in ("exit", "event", "entry")})
    for name, part in (("component", cell % 25), ("model", cell // 25 % 20), ("duty", cell // 500)):
        words = np.array([f"{name} {i:03}" for i in range(part.max() + 1)], dtype=object)
        key = pd.Categorical.from_codes(part, words)
        frame[name] = key.astype("object") if as_words else key
    return frame


def _against_groupby(n_rows: int) -> Iterable[Pair]:
    keys = ["component", "model", "duty"]
    for as_words in (True, False):
        frame = keyed(n_cells_of(n_rows), as_words)
        yield Pair(
            f"unsorted frame of {len(frame)} lives with three key columns "
            f"({'words' if as_words else 'categories'}) to a table / groupby size and sum",
            lambda frame=frame: (
                fit_cells(frame[keys], frame["exit"], frame["event"], entry=frame["entry"]).table
            ),
            lambda frame=frame: frame.groupby(keys, observed=True)["event"].agg(["size", "sum"]),
        )


def _with_looks(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows)
    yield Pair(
        f"{n} cells with failures between two looks / without",
        lambda: fit_cells(**lives(n, between=True)), lambda: fit_cells(**lives(n)),
    )  # fmt: skip


def _limits(n_rows: int) -> Iterable[Pair]:
    n = n_cells_of(n_rows)
    fits = fit_cells(**lives(n))
    yield Pair(
        f"likelihood-ratio limits of shape and B10 of {n} cells / their fit",
        lambda: (fits.limits("shape"), fits.limits("b10")), lambda: fit_cells(**lives(n)),
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
        f"{N_REPLICATES} replicates of {n} cells / {replicates} of one of middling size in R and "
        "taken for all (P8 turned over: its 250 is 0.004)",
        lambda: bootstrap(fits, N_REPLICATES, SEED), lambda: _wait(seconds),
        whole=n * N_REPLICATES / replicates,
    )  # fmt: skip


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
        f"posterior summaries of {len(fits.cells)} small cells / {WALKERS} walkers, {STEPS} steps "
        "for one and taken for all (P10 turned over: its 5,000 is 0.0002)",
        lambda: summaries(fits), lambda: ensemble(fits, middling), whole=len(fits.cells),
    )  # fmt: skip


BENCHMARKS = (
    Benchmark("P1", 40.0, _one_pass),
    Benchmark("P1-growth", 1.16, _growth),
    Benchmark("P2", 0.000125, _against_lifelines),
    Benchmark("P3", 1 / 150, _against_r),
    Benchmark("P4", 2.5, _against_groupby),
    Benchmark("P5", 3.5, _with_looks),
    Benchmark("P6", 6.0, _limits),
    Benchmark("P7", 3.0, _bootstrapped),
    Benchmark("P8", 0.004, _bootstrapped_by_r),
    Benchmark("P9", 6.5, _posteriors),
    Benchmark("P10", 0.0002, _against_sampling),
)
