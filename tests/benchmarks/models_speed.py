"""P1 to P5: laws of many cells at once, against one pass over the rows, plain loops and R.

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
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd
from measuring import NO_R, Aim, Benchmark, Growth, Pair

sys.path.insert(0, str(Path(__file__).parents[1] / "models"))
from made_cells import made_cells, rows_of  # noqa: E402

from dutylife.models.batch import fit_cells  # noqa: E402

ROWS_A_CELL, SEED = 100, 1
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


def _growth(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    for n in sizes_to(n_cells_of(n_rows)):
        yield n, partial(fit_cells, **lives(n))


def sizes_to(most: int, n_steps: int = 3, times: int = 5) -> list[int]:
    """Sizes that grow by 5, the last one about ``most``."""
    return [max(most // times**k, 2) for k in range(n_steps - 1, -1, -1)]


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
        f"a lifelines loop over {len(cells)} cells, of {share:.2f} times the average lives, taken "
        f"for all / preparation and fit of {n}",
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


def wait(seconds: float) -> None:
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
        f"survreg over {len(cells)} cells, taken for all, timed by R itself / fit of {n}",
        lambda: fit_cells(**d1), lambda: wait(seconds), whole=n / len(cells),
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


BENCHMARKS = (
    Benchmark("P1", Aim(40.0), _one_pass),
    Benchmark("P2", Aim(8_000, at_least=True), _against_lifelines),
    Benchmark("P3", Aim(150, at_least=True), _against_r, absent=NO_R),
    Benchmark("P4", Aim(2.5), _against_groupby),
    Benchmark("P5", Aim(3.5), _with_looks),
    Growth("P1-growth", Aim(5.8), "cells", _growth),
)
