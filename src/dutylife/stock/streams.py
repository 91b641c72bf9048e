"""Simulated use of each part: failures, planned replacements and all other use, day by day."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.cells import law_draws
from dutylife.provenance import seed_of
from dutylife.stock.parts import DAYS_PER_MONTH, OtherUse
from dutylife.stock.plans import PlannedAge, planned_age_days
from dutylife.stock.renewals import LifeArrays, simulate

Array = npt.NDArray[np.float64]
PLANNED, UNPLANNED, OTHER = 0, 1, 2
IN_SERVICE = 0.05


@dataclass(slots=True, kw_only=True, eq=False)
class PartUse:
    """Pieces of one part, an entry for each piece of use: simulation, day, pieces, stream."""

    simulation: list[npt.NDArray[np.int64]] = field(default_factory=list)
    day: list[Array] = field(default_factory=list)
    pieces: list[Array] = field(default_factory=list)
    stream: list[npt.NDArray[np.int64]] = field(default_factory=list)
    is_sorted: bool = False

    def add(self, simulation: npt.NDArray[np.int64], day: Array, pieces: Array,
            stream: npt.NDArray[np.int64]) -> None:  # fmt: skip
        """Append entries."""
        self.is_sorted = False
        self.simulation.append(simulation)
        self.day.append(day)
        self.pieces.append(pieces)
        self.stream.append(stream)

    def arrays(self) -> tuple[npt.NDArray[np.int64], Array, Array, npt.NDArray[np.int64]]:
        """Return simulation, day, pieces and stream, each shape (n,), in order of day."""
        if len(self.day) == 1 and self.is_sorted:
            return self.simulation[0], self.day[0], self.pieces[0], self.stream[0]
        whole = np.empty(0, dtype=np.int64)
        simulation = np.concatenate([whole, *self.simulation])
        day = np.concatenate([np.empty(0), *self.day])
        order = np.argsort(day, kind="stable")
        pieces = np.concatenate([np.empty(0), *self.pieces])
        stream = np.concatenate([whole, *self.stream])
        self.simulation, self.day = [simulation[order]], [day[order]]
        self.pieces, self.stream = [pieces[order]], [stream[order]]
        self.is_sorted = True
        return self.simulation[0], self.day[0], self.pieces[0], self.stream[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inputs:
    """What a simulation of the fleet needs, whichever the plan.

    ``lives`` are those in service with their ``part``, sorted; ``rates`` as of `seen_rates`.
    """

    lives: pd.DataFrame
    life_draws: pd.DataFrame
    rates: dict[tuple[str, str], Array]
    shares: dict[tuple[str, bool], float]
    pieces: dict[str, float]
    other: dict[str, OtherUse]
    n_simulations: int
    horizon_days: float
    seed: int


def simulated_cells(life_draws: pd.DataFrame) -> set[tuple[str, str]]:
    """Return the cells whose law stands on the record, not only on the stated prior."""
    basis = life_draws[["component", "duty", "basis"]].astype(object).drop_duplicates()
    basis = basis[basis["basis"] != "starting value"]
    return set(basis[["component", "duty"]].itertuples(index=False, name=None))


def part_use(
    inputs: Inputs, plan: str, ages: dict[tuple[str, str], PlannedAge]
) -> dict[str, PartUse]:
    """Simulated use of each part under a plan.

    Each simulation takes one draw of each cell's law, and has each machine in service or not
    with its probability; both are the same whatever the plan, so that plans compare.
    """
    out: dict[str, PartUse] = {}
    draws = law_draws(inputs.life_draws)
    present = _in_service(inputs)
    for (component, duty), lives in inputs.lives.groupby(["component", "duty"], sort=True):
        key = (str(component), str(duty))
        if key in draws:
            _cell_use(out, inputs, plan, ages.get(key), key, lives, draws[key], present)
    for number, use in sorted(inputs.other.items()):
        _other_use(out.setdefault(number, PartUse()), inputs, number, use)
    return out


def _in_service(inputs: Inputs) -> dict[str, npt.NDArray[np.bool_]]:
    machines = inputs.lives.drop_duplicates("unit_id")
    return {
        str(u): np.random.default_rng(seed_of(inputs.seed, "in service", u)).random(
            inputs.n_simulations
        )
        < p
        for u, p in zip(machines["unit_id"], machines["prob_in_service"], strict=True)
    }


def _cell_use(
    out: dict[str, PartUse],
    inputs: Inputs,
    plan: str,
    planned: PlannedAge | None,
    key: tuple[str, str],
    lives: pd.DataFrame,
    draws: pd.DataFrame,
    present: dict[str, npt.NDArray[np.bool_]],
) -> None:
    component, _ = key
    n = inputs.n_simulations
    law = np.random.default_rng(seed_of(inputs.seed, "law", *key))
    weight = draws["weight"].to_numpy(dtype=float)
    taken = law.choice(len(draws), size=n, p=weight / weight.sum())
    rate = np.zeros(n)
    if plan == "as seen":
        n_planned, days = inputs.rates.get(key, np.zeros(2))
        if n_planned > 0 and days > 0:
            rate = law.gamma(n_planned, 1 / days, size=n)
    use = lives["use"].to_numpy(dtype=float)
    on_meter = draws["clock"].iloc[0] == "hours"
    per_unit = 7 / use if on_meter else np.ones(len(lives))
    age = lives["age_hours"] * per_unit if on_meter else lives["age_days"]
    arrays = LifeArrays(
        age=age.to_numpy(dtype=float),
        seen=lives["seen_days"].fillna(lives["age_days"]).fillna(0.0).to_numpy(dtype=float),
        days_per_unit=per_unit,
        present=np.array([present[u] for u in lives["unit_id"]], dtype=bool).reshape(-1, n),
        planned_age=planned_age_days(planned, use),
    )
    random = np.random.default_rng(seed_of(inputs.seed, "renewals", *key))
    found = simulate(
        arrays,
        draws["shape"].to_numpy(dtype=float)[taken],
        draws["scale"].to_numpy(dtype=float)[taken],
        rate,
        inputs.horizon_days,
        random,
    )
    share = np.where(
        found.planned, inputs.shares.get((component, True), 1.0),
        inputs.shares.get((component, False), 1.0),
    )  # fmt: skip
    uses = random.random(len(share)) < share
    names, code_of_life = np.unique(lives["part"].astype(str), return_inverse=True)
    number = code_of_life[found.life]
    each = np.array([inputs.pieces.get(str(p), 1.0) for p in names])[number]
    whole = np.floor(each)
    pieces = whole + (random.random(len(each)) < each - whole)
    stream = np.where(found.planned, PLANNED, UNPLANNED).astype(np.int64)
    for code, name in enumerate(names):
        mine = uses & (number == code)
        out.setdefault(str(name), PartUse()).add(
            found.simulation[mine], found.day[mine], pieces[mine], stream[mine]
        )


def _other_use(use: PartUse, inputs: Inputs, number: str, other: OtherUse) -> None:
    # where lives explain the part and nothing else was ever sold, there is no other stream; a
    # part that nothing explains keeps half a line as its weak prior
    shape = other.n_lines + (0.5 if other.n_lines > 0 or not use.day else 0.0)
    if shape <= 0:
        return
    random = np.random.default_rng(seed_of(inputs.seed, "other use", number))
    rate = random.gamma(shape, 1 / other.months, size=inputs.n_simulations)
    n_lines = random.poisson(rate * inputs.horizon_days / DAYS_PER_MONTH)
    simulation = np.repeat(np.arange(inputs.n_simulations), n_lines)
    day = random.random(len(simulation)) * inputs.horizon_days
    sizes = other.sizes if other.sizes.size else np.ones(1)
    pieces = np.ceil(random.choice(sizes, size=len(simulation)))
    use.add(simulation, day, pieces, np.full(len(simulation), OTHER, dtype=np.int64))
