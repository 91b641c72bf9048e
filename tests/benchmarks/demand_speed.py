"""P11: the demand of every component and month, draws of laws included, against one simulation."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from measuring import Aim, Benchmark, Growth, Pair

from dutylife.stock.count_table import CountTable
from dutylife.stock.lattice import RenewalLaw, Spans
from dutylife.stock.part_law import Batch, Cumulants, SpanLaw
from dutylife.stock.positions import Draws, Positions

Array = npt.NDArray[np.float64]
N_COMPONENTS, N_DUTIES, N_DRAWS, N_MONTHS = 20, 4, 200, 12
ROWS_PER_POSITION = 10  # of the stated million rows: 100 000 positions
STEPS = 12  # of a month
LEAST_SCALE, GREATEST_SCALE = 1.6, 40.0  # months


@dataclass(frozen=True, slots=True)
class MadeCell:
    """Positions of one component in one duty, ages in months of use, and draws of its law."""

    positions: Positions
    draws: Draws


def made_cells(n_positions: int, n_draws: int = N_DRAWS) -> list[MadeCell]:
    """Cells of a made-up fleet: shapes of 0.8 to 3.5, lives of months to years."""
    rng = np.random.default_rng(11)
    out = []
    each = max(n_positions // (N_COMPONENTS * N_DUTIES), 4)
    for _ in range(N_COMPONENTS * N_DUTIES):
        shape, scale = rng.uniform(1.0, 3.2), np.exp(rng.uniform(np.log(5.0), np.log(20.0)))
        unit = np.exp(rng.uniform(-0.5, 0.4, each))
        age = rng.exponential(0.5, each) * scale * unit
        draws = Draws(
            shape=np.clip(shape * np.exp(rng.normal(0, 0.06, n_draws)), 0.8, 3.6),
            scale=scale * np.exp(np.clip(rng.normal(0, 0.08, n_draws), -0.3, 0.3)),
            weight=np.full(n_draws, 1 / n_draws),
        )
        positions = Positions(
            age=age, is_known=np.ones(each, dtype=bool), days_per_unit=unit,
            planned_age=np.full(each, np.inf),
        )  # fmt: skip
        out.append(MadeCell(positions, draws))
    return out


def months() -> Spans:
    """Twelve months one after the other."""
    start = np.arange(N_MONTHS) * STEPS
    return Spans(start=start, end=start + STEPS, step_days=1 / STEPS)


def table() -> CountTable:
    """One table for all cells."""
    law = RenewalLaw(
        shape=np.ones(1), scale=np.ones(1), planned_rate=np.zeros(1),
        planned_age=np.full(1, np.inf),
    )  # fmt: skip
    return CountTable(law, months(), (0.8, 3.6), (LEAST_SCALE, GREATEST_SCALE), known_lives=4.0)


def laws_of(cells: list[MadeCell], kept: CountTable) -> list[Array]:
    """Law of the demand of each component in each month."""
    found = []
    for cell in cells:
        present = np.ones(len(cell.positions.age))
        cumulants, _ = kept.sums(cell.positions, present, cell.draws, is_known=True)
        found.append((cumulants, cell.draws.weight))
    out = []
    for at in range(0, len(cells), N_DUTIES):
        for month in range(N_MONTHS):
            law = SpanLaw()
            for cumulants, weight in found[at : at + N_DUTIES]:
                law.terms.append(
                    Cumulants(factorial=cumulants[:, month], weight=weight, batch=Batch())
                )
            out.append(law.chances())
    return out


def simulated(cells: list[MadeCell], rng: np.random.Generator) -> Array:
    """One simulation of all positions: renewals by cell and month."""
    out = np.zeros((len(cells), N_MONTHS))
    for i, cell in enumerate(cells):
        draw = rng.integers(0, len(cell.draws.shape))
        k = cell.draws.shape[draw]
        scale = cell.draws.scale[draw] * cell.positions.days_per_unit
        spent = (cell.positions.age / scale) ** k
        now = scale * (spent + rng.standard_exponential(len(scale))) ** (1 / k)
        now = now - cell.positions.age
        while True:
            here = now < N_MONTHS
            if not here.any():
                break
            now, scale = now[here], scale[here]
            out[i] += np.bincount(now.astype(int), minlength=N_MONTHS)
            now = now + scale * rng.standard_exponential(len(scale)) ** (1 / k)
    return out


def _against_a_simulation(n_rows: int, *, kept: bool) -> Iterable[Pair]:
    cells = made_cells(n_rows // ROWS_PER_POSITION)
    rng = np.random.default_rng(1)
    held = table() if kept else None
    n = sum(len(c.positions.age) for c in cells)
    yield Pair(
        f"{n} positions x {N_DRAWS} draws x {N_MONTHS} months{', table kept' * kept} / one numpy "
        "simulation",
        lambda: laws_of(cells, held or table()), lambda: simulated(cells, rng),
    )  # fmt: skip


def _by_draws(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    kept = table()
    for n in (N_DRAWS, 5 * N_DRAWS):
        cells = made_cells(n_rows // ROWS_PER_POSITION, n)
        yield n, lambda cells=cells: laws_of(cells, kept)


def _by_positions(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    kept = table()
    for times in (1, 4):
        cells = made_cells(times * n_rows // ROWS_PER_POSITION)
        n = sum(len(c.positions.age) for c in cells)
        yield n, lambda cells=cells: laws_of(cells, kept)


BENCHMARKS = (
    Benchmark("P11", Aim(80.0), lambda n: _against_a_simulation(n, kept=False)),
    Benchmark("P11-kept", Aim(45.0), lambda n: _against_a_simulation(n, kept=True)),
    Growth("P11-draws", Aim(3.2), "draws", _by_draws),
    Growth("P11-positions", Aim(4.0), "positions", _by_positions),
)
