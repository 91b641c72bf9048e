"""Which invented fleets a proof runs: sizes, difficulties alone, and fleets of the prior's laws."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from dutylife.errors import DutylifeError
from dutylife.practice import DIFFICULTIES, without_difficulties
from dutylife.provenance import seed_of

SEEDS = 1_000_000  # a fleet's seed stays short enough to be typed after `dutylife practice --seed`
SIZE, DIFFICULTY, CALIBRATION = "size", "difficulty", "calibration"
NO_DIFFICULTY = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One fleet to be made, run and scored; ``difficulties`` None is the scenario's own."""

    kind: str
    case: str
    number: int
    n_units: int
    n_years: float
    seed: int
    difficulties: tuple[tuple[str, float], ...] | None = None
    laws_from: str = ""
    plant: str = ""

    @property
    def name(self) -> str:
        """Short name, unique within a proof; names its file too."""
        case = "".join(c if c.isalnum() else "-" for c in self.case)
        return f"{self.kind}-{case}-{self.number:03d}"

    @property
    def practice_keywords(self) -> dict[str, Any]:
        """Keywords for `practice.simulate_fleet` and `practice.make_practice`."""
        out: dict[str, Any] = {"n_units": self.n_units, "n_years": self.n_years, "seed": self.seed}
        if self.difficulties is not None:
            out["difficulties"] = dict(self.difficulties)
        if self.laws_from:
            out["laws_from"] = self.laws_from
        return out

    def as_dict(self) -> dict[str, Any]:
        """Everything the result depends on but for the program itself."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much a proof runs; ``cells`` are (machines, years of record)."""

    cells: tuple[tuple[int, float], ...]
    n_fleets: int
    difficulty_cell: tuple[int, float]
    n_difficulty_fleets: int
    n_calibration_fleets: int


SMOKE = Size(
    cells=((10, 1.0), (30, 2.0), (100, 4.0)),
    n_fleets=2,
    difficulty_cell=(30, 2.0),
    n_difficulty_fleets=1,
    n_calibration_fleets=2,
)
FULL = Size(
    cells=tuple((n, y) for n in (10, 30, 100, 300) for y in (1.0, 2.0, 4.0)),
    n_fleets=50,
    difficulty_cell=(100, 4.0),
    n_difficulty_fleets=50,
    n_calibration_fleets=50,
)
SIZES: dict[str, Size] = {"smoke": SMOKE, "full": FULL}


def jobs_of(size: str, n_fleets: int | None, seed: int, plant: str = "") -> list[Job]:
    """Return the fleets of a proof, in the order of its page.

    Parameters
    ----------
    size : {"smoke", "full"}
    n_fleets : int, optional
        Fleets a cell, instead of the size's own number, for every part of the proof.
    seed : int
    plant : str
        Name of a planted fault, blank for none.

    Raises
    ------
    DutylifeError
        There is no such size, or not even one fleet a cell.
    """
    if size not in SIZES:
        raise DutylifeError(
            f"There is no proof of size '{size}'.", "size", "one of: " + ", ".join(sorted(SIZES))
        )
    if n_fleets is not None and n_fleets < 1:
        raise DutylifeError(f"{n_fleets} fleets a cell are none.", "fleets", "1 or more")
    plan = SIZES[size]
    jobs = [
        Job(kind=SIZE, case=case_of(n_units, years), number=i, n_units=n_units, n_years=years,
            seed=fleet_seed(seed, i), plant=plant)
        for n_units, years in plan.cells
        for i in range(n_fleets or plan.n_fleets)
    ]  # fmt: skip
    n_units, years = plan.difficulty_cell
    for case, strengths in difficulties_alone().items():
        jobs += [
            Job(kind=DIFFICULTY, case=case, number=i, n_units=n_units, n_years=years,
                seed=fleet_seed(seed, i), difficulties=tuple(sorted(strengths.items())),
                plant=plant)
            for i in range(n_fleets or plan.n_difficulty_fleets)
        ]  # fmt: skip
    jobs += [
        Job(kind=CALIBRATION, case="laws of the prior", number=i, n_units=n_units,
            n_years=years, seed=fleet_seed(seed, i), laws_from="prior", plant=plant)
        for i in range(n_fleets or plan.n_calibration_fleets)
    ]  # fmt: skip
    return jobs


def case_of(n_units: int, n_years: float) -> str:
    """Words of a size.

    Examples
    --------
    >>> case_of(10, 1.0)
    '10 machines, 1 year'
    """
    return f"{n_units} machines, {n_years:g} year" + ("" if n_years == 1 else "s")


def fleet_seed(seed: int, number: int) -> int:
    """Seed of the fleet of that number; cells share them, so that they differ by size alone."""
    return seed_of(seed, "fleet", number) % SEEDS


def difficulties_alone() -> dict[str, Mapping[str, float]]:
    """Strengths with none, then each difficulty at full strength with all others off."""
    none = without_difficulties()
    alone: dict[str, Mapping[str, float]] = {n: none | {n: 1.0} for n in DIFFICULTIES}
    return {NO_DIFFICULTY: none} | alone
