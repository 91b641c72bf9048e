"""True laws and money of a practice fleet, cell by cell, on the law's own clock."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.practice import PracticeFleet, law_survival
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
DAYS_PER_WEEK = 7.0
WEEKS_PER_YEAR = DAYS_PER_YEAR / 7.0
_GONE, _N_AGES = 1e-12, 3000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueCell:
    """A component in a duty: law, costs, and how many clock units its machines run a year.

    ``law`` is a row of ``PracticeFleet.laws``; ``shape`` and ``scale`` are those of a plain
    Weibull law, missing where the law is another. ``ages`` and ``lived_by`` tabulate the mean
    time lived up to an age.
    """

    component: str
    duty: str
    clock: str
    law: Mapping[str, Any]
    planned_cost: float
    failure_cost: float
    per_year: float
    hours_per_week: float
    ages: Array
    lived_by: Array

    @property
    def is_weibull(self) -> bool:
        """A plain Weibull law, so that shape and scale are there to be found."""
        return str(self.law["distribution"]) == "weibull"

    @property
    def shape(self) -> float:
        """Weibull shape."""
        return float(self.law["shape"])

    @property
    def scale(self) -> float:
        """Weibull scale."""
        return float(self.law["scale"])

    def survival(self, age: npt.ArrayLike) -> Array:
        """Share still working at ages."""
        return law_survival(self.law, age)

    def lived(self, age: npt.ArrayLike) -> Array:
        """Mean time lived up to ages: integral of the survival from 0."""
        return np.interp(np.asarray(age, dtype=np.float64), self.ages, self.lived_by)

    @property
    def mean(self) -> float:
        """Mean life."""
        return float(self.lived_by[-1])

    @property
    def median(self) -> float:
        """Age by which half have failed."""
        alive = self.survival(self.ages)
        return float(np.interp(0.5, 1.0 - alive, self.ages))

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
        return self.median * np.geomspace(0.01, 8.0, 800)

    def _rates(self, ages: Array) -> Array:
        alive = self.survival(ages)
        cost = self.planned_cost * alive + self.failure_cost * (1.0 - alive)
        return np.asarray(cost / self.lived(ages))


def lived_table(law: Mapping[str, Any]) -> tuple[Array, Array]:
    """Ages, and the mean time lived up to each, by Simpson's rule between them.

    Returns
    -------
    tuple of ndarray, shape (n,)
        From 0 to where fewer than one part in a million million still works.
    """
    end = float(law["scale"])
    while float(law_survival(law, end)) > _GONE:
        end *= 1.5
    ages = np.concatenate([[0.0], end * np.geomspace(1e-7, 1.0, _N_AGES)])
    middle = (ages[1:] + ages[:-1]) / 2.0
    at, between = law_survival(law, ages), law_survival(law, middle)
    steps = np.diff(ages) / 6.0 * (at[:-1] + 4.0 * between + at[1:])
    return ages, np.concatenate([[0.0], np.cumsum(steps)])


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
    for row in fleet.laws.to_dict("records"):
        law = {str(name): value for name, value in row.items()}
        key = (str(law["component"]), str(law["duty"]))
        if key not in weeks:
            continue
        ages, lived_by = lived_table(law)
        part = scenario.components[key[0]]
        planned = part.price * part.quantity + part.labour_hours * scenario.shop.labour_rate
        failure = planned + scenario.shop.visit_cost + part.lost_days * scenario.shop.lost_day_cost
        rates = weeks[key]
        a_year = (
            sum(rates) * WEEKS_PER_YEAR if law["clock"] == "hours" else DAYS_PER_YEAR * len(rates)
        )
        cells[key] = TrueCell(
            component=key[0], duty=key[1], clock=str(law["clock"]), law=law,
            planned_cost=planned, failure_cost=failure, per_year=a_year,
            hours_per_week=float(np.mean(rates)), ages=ages, lived_by=lived_by,
        )  # fmt: skip
    return cells
