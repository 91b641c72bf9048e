"""P12 and P13: best replacement ages of many laws at once, against loops and one pass.

``--rows`` sets the number of cells: a hundredth of it (1 million: the 10,000 cells the targets are
stated for, 200 draws each for P12, 49 for P13). Loops are run on a few cells and multiplied.
"""

from collections.abc import Iterable
from functools import cache

import numpy as np
from measuring import Aim, Benchmark, Pair

from dutylife.decisions.age_cells import cell_optima
from dutylife.decisions.age_table import optimal_ages

N_DRAWS, N_NODES, LOOPED = 200, 49, 20


@cache
def laws(n_cells: int, n_draws: int) -> dict[str, np.ndarray]:
    """Cells whose draws spread as posteriors of few to many failures do, a cost ratio each."""
    random = np.random.default_rng(1)
    spread = random.uniform(0.05, 0.35, n_cells)[:, None]
    shape = random.lognormal(np.log(2), 0.35, n_cells)[:, None]
    scale = random.lognormal(6, 0.5, n_cells)[:, None]
    return {
        "shape": shape * np.exp(spread * random.standard_normal((n_cells, n_draws))),
        "scale": scale * np.exp(spread * random.standard_normal((n_cells, n_draws))),
        "ratio": np.exp(random.uniform(np.log(1.5), np.log(20), n_cells)),
    }


def cost_rate(age: float, shape: np.ndarray, scale: np.ndarray, ratio: float) -> np.ndarray:
    """Long-run cost of each draw at an age, a planned change costing 1."""
    from scipy.special import gamma, gammainc

    hazard = (age / scale) ** shape
    lived = scale * gamma(1 + 1 / shape) * gammainc(1 / shape, hazard)
    return (1 - (ratio - 1) * np.expm1(-hazard)) / lived


def _one(shape: np.ndarray, scale: np.ndarray, ratio: float) -> float:
    from scipy.optimize import minimize_scalar

    middle = float(np.log(scale.mean()))
    found = minimize_scalar(
        lambda x: float(cost_rate(np.exp(x), shape, scale, ratio).mean()),
        bounds=(middle - 5, middle + 1.4), method="bounded", options={"xatol": 1e-6},
    )  # fmt: skip
    return float(np.exp(found.x))


def _two_million(n_rows: int) -> Iterable[Pair]:
    from scipy.special import gammainc

    n = min(max(n_rows // 100, 100), 10_000)
    d = laws(n, N_DRAWS)
    best = optimal_ages(d["shape"], d["ratio"], d["scale"])
    hazard = np.where(np.isfinite(best), np.minimum((best / d["scale"]) ** d["shape"], 50.0), 1.0)
    power = 1 / d["shape"]

    def ours() -> None:
        optimal_ages(d["shape"], d["ratio"], d["scale"])

    yield Pair(f"{n * N_DRAWS} ages by table / one gammainc pass", ours,
               lambda: gammainc(power, hazard))  # fmt: skip


def _loop(n_rows: int) -> Iterable[Pair]:
    n = min(max(n_rows // 100, 100), 10_000)
    d = laws(n, N_DRAWS)

    def loop() -> None:
        for j in range(LOOPED):
            _one(d["shape"][0, j : j + 1], d["scale"][0, j : j + 1], float(d["ratio"][0]))

    yield Pair(
        f"a loop of minimize_scalar / {n * N_DRAWS} ages by table",
        lambda: optimal_ages(d["shape"], d["ratio"], d["scale"]), loop, n * N_DRAWS / LOOPED,
    )  # fmt: skip


def _posterior_means(n_rows: int) -> Iterable[Pair]:
    n = min(max(n_rows // 100, 100), 10_000)
    d = laws(n, N_NODES)
    weights, planned = np.full((n, N_NODES), 1 / N_NODES), np.ones(n)

    def loop() -> None:
        for i in range(LOOPED):
            _one(d["shape"][i], d["scale"][i], float(d["ratio"][i]))

    yield Pair(
        f"{n} cells of {N_NODES} draws, age of least expected cost / a loop of minimize_scalar",
        lambda: cell_optima(d["shape"], d["scale"], weights, planned, d["ratio"]), loop, n / LOOPED,
    )  # fmt: skip


BENCHMARKS = (
    Benchmark("P12", Aim(0.3), _two_million),
    Benchmark("P12-loop", Aim(1_000, at_least=True), _loop),
    Benchmark("P13", Aim(0.1), _posterior_means),
)
