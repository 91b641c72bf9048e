"""True laws and money of a practice fleet, cell by cell, on the law's own clock."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.practice import PracticeFleet

Array = npt.NDArray[np.float64]
DAYS_PER_WEEK = 7.0
WEEKS_PER_YEAR = 365.25 / 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueCell:
    """A component in a duty: law, costs, and how many clock units its machines run a year.

    ``shape`` and ``scale`` are the Weibull's; of a lognormal law 1 / sigma and exp(mu).
    """

    component: str
    duty: str
    clock: str
    distribution: str
    shape: float
    scale: float
    planned_cost: float
    failure_cost: float
    per_year: float
    hours_per_week: float

    def survival(self, age: npt.ArrayLike) -> Array:
        """Share still working at ages."""
        from scipy.special import ndtr

        ages = np.asarray(age, dtype=float)
        if self.distribution == "lognormal":
            return np.asarray(ndtr(-self.shape * np.log(ages / self.scale)))
        return np.asarray(np.exp(-((ages / self.scale) ** self.shape)))

    def lived(self, age: npt.ArrayLike) -> Array:
        """Mean time lived up to ages: integral of the survival from 0."""
        from scipy.special import gammainc, ndtr

        ages = np.asarray(age, dtype=float)
        if self.distribution == "lognormal":
            z = self.shape * np.log(ages / self.scale)
            return np.asarray(ages * ndtr(-z) + self.mean * ndtr(z - 1.0 / self.shape))
        power = 1.0 / self.shape
        return np.asarray(self.mean * gammainc(power, (ages / self.scale) ** self.shape))

    @property
    def mean(self) -> float:
        """Mean life."""
        if self.distribution == "lognormal":
            return self.scale * math.exp(0.5 / self.shape**2)
        return self.scale * math.gamma(1.0 + 1.0 / self.shape)

    @property
    def median(self) -> float:
        """Age by which half have failed."""
        if self.distribution == "lognormal":
            return self.scale
        return float(self.scale * math.log(2.0) ** (1.0 / self.shape))

    def cost_rate(self, age: float) -> float:
        """Long-run cost per clock unit of replacing at an age; infinite age: run to failure."""
        if not math.isfinite(age):
            return self.failure_cost / self.mean
        alive = float(self.survival(age))
        cost = self.planned_cost * alive + self.failure_cost * (1.0 - alive)
        return float(cost / float(self.lived(age)))

    def best_rate(self) -> float:
        """Lowest long-run cost per clock unit any age can reach."""
        return min(self.cost_rate(math.inf), float(self._rates(self._ages()).min()))

    def best_age(self) -> float:
        """Age of the lowest cost, infinite where waiting for failure is cheapest."""
        ages = self._ages()
        rates = self._rates(ages)
        at = int(np.argmin(rates))
        return float(ages[at]) if rates[at] < self.cost_rate(math.inf) else math.inf

    def _ages(self) -> Array:
        return self.scale * np.geomspace(0.01, 5.0, 600)

    def _rates(self, ages: Array) -> Array:
        alive = self.survival(ages)
        cost = self.planned_cost * alive + self.failure_cost * (1.0 - alive)
        return np.asarray(cost / self.lived(ages))


def true_cells(fleet: PracticeFleet) -> dict[tuple[str, str], TrueCell]:
    """Cells that at least one machine still here at the record's end carries.

    Parameters
    ----------
    fleet : PracticeFleet

    Returns
    -------
    dict of (component, duty) to TrueCell
        Costs are the true ones, which the fleet's settings file may state wrongly.
    """
    scenario = fleet.scenario
    here = [m for m in fleet.machines if m.is_customer_here and m.leaves > fleet.span.end]
    weeks: dict[tuple[str, str], list[float]] = {}
    for machine in here:
        for component in machine.components:
            weeks.setdefault((component, machine.duty), []).append(machine.hours_per_week)
    cells = {}
    for law in fleet.laws.to_dict("records"):
        key = (str(law["component"]), str(law["duty"]))
        if key not in weeks:
            continue
        part = scenario.components[key[0]]
        planned = part.price * part.quantity + part.labour_hours * scenario.shop.labour_rate
        failure = planned + scenario.shop.visit_cost + part.lost_days * scenario.shop.lost_day_cost
        rates = weeks[key]
        a_year = sum(rates) * WEEKS_PER_YEAR if law["clock"] == "hours" else 365.25 * len(rates)
        cells[key] = TrueCell(
            component=key[0], duty=key[1], clock=str(law["clock"]),
            distribution=str(law["distribution"]), shape=float(law["shape"]),
            scale=float(law["scale"]),
            planned_cost=planned, failure_cost=failure, per_year=a_year,
            hours_per_week=float(np.mean(rates)),
        )  # fmt: skip
    return cells
