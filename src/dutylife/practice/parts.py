"""Parts fitted in a machine: each with the laws it may fail by and the chance it drew of each."""

import math
from dataclasses import dataclass, field

import numpy as np

from dutylife.practice.fleet import Machine, Span, UseCurve
from dutylife.practice.laws import LifeLaw, batch_law_of, customer_risks, law_of, second_law_of
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream

NEVER = float("inf")
MAIN, SECOND, BATCH = "main", "second", "batch"
DAYS_PER_MONTH = 365.25 / 12.0
# a plan that starts can't have everything in on its first day
_PLAN_BEGINS_WITHIN_DAYS = 28.0


@dataclass(slots=True)
class Fitted:
    """The part now in a position: its drawn life on its own clock, and what workmanship adds.

    ``hazards``: cumulative hazard at which it fails, by way of failing, were it alone.
    """

    component: str
    is_hours: bool
    number: int = 0
    installed: float = 0.0
    installed_meter: float = 0.0
    entered: float = 0.0
    entered_meter: float = 0.0
    life: float = 0.0
    mode: str = ""
    hazards: dict[str, float] = field(default_factory=dict)
    back_on: float = NEVER
    is_planned: bool = False

    def age(self, day: float, meter: float) -> float:
        """Age on its own clock."""
        return meter - self.installed_meter if self.is_hours else day - self.installed


class Storeroom:
    """Fits new parts to one machine: draws their lives, and carries them into another duty."""

    def __init__(self, scenario: Scenario, span: Span, machine: Machine, seed: int) -> None:
        self.scenario = scenario
        self.span = span
        self.machine = machine
        self.duty = machine.spells[0].duty
        self._law = Stream(seed, machine.index, 1)
        self._second = Stream(seed, machine.index, 12)
        self._batch = Stream(seed, machine.index, 13)
        self._plan = Stream(seed, machine.index, 9)
        self._plan_from = span.end + self._plan.uniform(0.0, _PLAN_BEGINS_WITHIN_DAYS)
        self._customers = customer_risks(scenario, seed)
        self.customer = machine.spells[0].customer

    @property
    def _risk(self) -> float:
        return self.machine.risk * self._customers[self.customer]

    def fit(self, part: Fitted, day: float, meter: float) -> None:
        """Fit a new part."""
        part.number += 1
        part.installed = part.entered = day
        part.installed_meter = part.entered_meter = meter
        part.back_on = NEVER
        # uniforms turned by the inverse law, so that the plain fleet's lives are those of the seed
        part.hazards = {MAIN: self._drawn(self._law)}
        if self.scenario.second_mode.strength > 0:
            part.hazards[SECOND] = self._drawn(self._second)
        batch = self.scenario.early_batch
        if batch.share > 0 and part.component in batch.components:
            is_faulty = self._batch.chance(batch.share)
            hazard = self._drawn(self._batch)
            length = self.span.end - self.span.start
            begin, end = (
                self.span.start + share * length for share in (batch.from_share, batch.to_share)
            )
            if is_faulty and begin <= day < end:
                part.hazards[BATCH] = hazard
        plan = self.scenario.plan
        part.is_planned = plan.share > 0 and (
            part.component in plan.ages and self._plan.chance(plan.share)
        )
        self._set_life(part)

    def move(self, part: Fitted, customer: str, duty: str, day: float, meter: float) -> None:
        """Carry a part into another duty: what it has lived through is lived, its age counts on."""
        age = part.age(day, meter)
        before, here = self._risk, (self.customer, self.duty)
        left = {
            mode: (hazard - self._law_of(mode, part).hazard(age)) * before
            for mode, hazard in part.hazards.items()
        }
        self.customer, self.duty = customer, duty
        part.hazards = {
            mode: self._law_of(mode, part).hazard(age) + max(rest, 0.0) / self._risk
            for mode, rest in left.items()
        }
        part.entered, part.entered_meter = day, meter
        self._set_life(part)
        self.customer, self.duty = here

    def planned_day(self, part: Fitted, use: UseCurve, not_run: float) -> float:
        """Day a plan from the cut-off on replaces the part; infinite without one."""
        if not part.is_planned:
            return NEVER
        age = self.scenario.plan.ages[part.component]
        if age.hours is not None:
            due = use.day_at(part.installed_meter + age.hours + not_run)
        else:
            due = part.installed + (age.months or 0.0) * DAYS_PER_MONTH
        return max(due, self._plan_from)

    def _drawn(self, stream: Stream) -> float:
        return -math.log1p(-stream.uniform()) / self._risk

    def _law_of(self, mode: str, part: Fitted) -> LifeLaw:
        make = {MAIN: law_of, SECOND: second_law_of, BATCH: batch_law_of}[mode]
        return make(self.scenario, part.component, self.duty)

    def _set_life(self, part: Fitted) -> None:
        ages = {mode: self._law_of(mode, part).age(hazard) for mode, hazard in part.hazards.items()}
        part.mode = min(ages, key=lambda mode: ages[mode])
        part.life = ages[part.mode]


def due_days(parts: list[Fitted], use: UseCurve, not_run: float) -> np.ndarray:
    """Day each fitted part fails by its drawn life, shape (n_parts,)  [d]."""
    hours = np.array([part.installed_meter + part.life + not_run for part in parts])
    by_hours = np.interp(hours, use.hours, use.days, right=NEVER)
    by_days = np.array([part.installed + part.life for part in parts])
    return np.where(np.array([part.is_hours for part in parts]), by_hours, by_days)
