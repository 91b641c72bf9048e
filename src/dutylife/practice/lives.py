"""True lives of one machine's components: drawn from the laws, renewed at each change."""

from dataclasses import dataclass

import numpy as np

from dutylife.practice.fleet import Machine, Span
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.practice.visits import REPAIR, SERVICE, WARRANTY, Visit, Work, calls

_NEVER = float("inf")
COMEBACK_DAYS = (3.0, 20.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """One life. Days since 1970-01-01; meter is the machine's running hours at both ends."""

    machine: Machine
    component: str
    number: int
    installed: float
    installed_meter: float
    ended: float
    ended_meter: float
    event: str
    is_comeback: bool = False


@dataclass(slots=True)
class _Fitted:
    """The part now in a position: its drawn life on its own clock, and what workmanship adds."""

    component: str
    is_hours: bool
    number: int = 0
    installed: float = 0.0
    installed_meter: float = 0.0
    life: float = 0.0
    back_on: float = _NEVER


class MachineHistory:
    """Runs one machine from entering service until it leaves or the simulation ends.

    A failed component stops the machine: from then to the repair no hours run, days do.
    """

    def __init__(self, scenario: Scenario, span: Span, machine: Machine, seed: int) -> None:
        self.scenario = scenario
        self.machine = machine
        self.stop = min(machine.leaves, span.until)
        self.lives: list[Life] = []
        self.visits: list[Visit] = []
        self._stops: list[tuple[float, float]] = []  # day stopped, running hours not run
        self._not_run = 0.0
        self._now = machine.in_service
        self._law = Stream(seed, machine.index, 1)
        self._shop = Stream(seed, machine.index, 2)
        self._calls = calls(scenario, span, machine, Stream(seed, machine.index, 3))
        self._fitted = [
            _Fitted(name, scenario.clock(name) == "hours") for name in machine.components
        ]
        self._hourly = np.array([part.is_hours for part in self._fitted])
        for part in self._fitted:
            self._fit(part, machine.in_service, 0.0)

    def run(self) -> None:
        """Live through every event in order; fills ``lives`` and ``visits``."""
        while True:
            due = self._due_days()
            soonest = int(np.argmin(due))
            # what was due while the machine stood for repair waits until that is done
            backs = [max(part.back_on, self._now) for part in self._fitted]
            call_day = max(self._calls[0].day, self._now) if self._calls else _NEVER
            first = min(float(due[soonest]), min(backs), call_day)
            if first >= self.stop:
                break
            if first == due[soonest]:
                if not self._fail(first, due):
                    return
            elif first == call_day:
                self._call(self._calls.pop(0), call_day)
            else:
                self._come_back(self._fitted[backs.index(first)], first)
        meter = self.meter_at(self.stop)
        event = "lost" if self.machine.leaves <= self.stop else "running"
        for part in self._fitted:
            self._end(part, self.stop, meter, event)

    def meter_at(self, day: float) -> float:
        """Running hours at a day, stops for repair taken out."""
        use = self.machine.use
        hours = use.hours_at(day)
        for stopped, not_run in self._stops:
            if day > stopped:
                hours -= min(not_run, use.hours_at(day) - use.hours_at(stopped))
        return hours

    def _due_days(self) -> np.ndarray:
        """Day each fitted part fails by its drawn life."""
        hours = np.array(
            [part.installed_meter + part.life + self._not_run for part in self._fitted]
        )
        use = self.machine.use
        by_hours = np.interp(hours, use.hours, use.days, right=_NEVER)
        by_days = np.array([part.installed + part.life for part in self._fitted])
        return np.where(self._hourly, by_hours, by_days)

    def _fail(self, day: float, due: np.ndarray) -> bool:
        """Stop, come in some days later, be repaired; False when the machine was gone by then."""
        meter = self.meter_at(day)
        arrival = float(np.floor(day)) + self._shop.integer(
            0, self.scenario.visits.arrival_days_at_most
        )
        repaired = max(day, arrival)
        # while it stands, only parts that age by days can fail as well
        failed = [
            (part, float(at))
            for part, at in zip(self._fitted, due, strict=True)
            if at == day or (not part.is_hours and at <= min(repaired, self.stop))
        ]
        failed.sort(key=lambda pair: pair[1])
        if repaired >= self.stop:
            for part, at in failed:
                self._end(part, at, meter, "failed")
            event = "lost" if self.machine.leaves <= self.stop else "running"
            for part in self._fitted:
                if all(part is not other for other, _ in failed):
                    self._end(part, self.stop, meter, event)
            return False
        visit = self._visit(Visit(machine=self.machine, day=repaired, kind=REPAIR), meter)
        use = self.machine.use
        not_run = use.hours_at(repaired) - use.hours_at(day)
        self._stops.append((day, not_run))
        self._not_run += not_run
        self._now = repaired
        for part, at in failed:
            law = self.scenario.components[part.component]
            is_cleaned = self._shop.chance(law.clean_share)
            self._end(part, at, meter, "failed")
            self._fit(part, repaired, meter)
            visit.works.append(
                Work(
                    component=part.component,
                    activity="clean" if is_cleaned else "replace",
                    reason="failure",
                    life_share=1.0,
                )
            )
            if self._shop.chance(self.scenario.visits.comeback_share):
                part.back_on = repaired + self._shop.uniform(*COMEBACK_DAYS)
        self._change_with(visit, {part.component for part, _ in failed}, meter)
        return True

    def _change_with(self, visit: Visit, done: set[str], meter: float) -> None:
        """Change other parts while the machine is open: no fault of theirs."""
        for cause in sorted(done):
            others = self.scenario.opportunistic.get(cause, {})
            for part in self._fitted:
                share = others.get(part.component, 0.0)
                if part.component in done or not self._is_old_enough(part, visit.day):
                    continue
                if share and self._shop.chance(share):
                    self._renew(visit, part, meter, "opportunistic")
                    done = done | {part.component}

    def _is_old_enough(self, part: _Fitted, day: float) -> bool:
        """Nobody changes a sound part that is nearly new; its age alone decides, not its life."""
        return day - part.installed >= self.scenario.visits.renew_after_days

    def _call(self, visit: Visit, day: float) -> None:
        visit.day = day
        meter = self.meter_at(day)
        self._visit(visit, meter)
        if visit.kind == SERVICE:
            for part in self._fitted:
                share = self.scenario.service.get(part.component, 0.0)
                if self._shop.chance(share) and self._is_old_enough(part, day):
                    self._renew(visit, part, meter, "preventive")

    def _come_back(self, part: _Fitted, day: float) -> None:
        """Poor work, not the part's law: ends the life without a failure by that law."""
        meter = self.meter_at(day)
        visit = self._visit(Visit(machine=self.machine, day=day, kind=WARRANTY), meter)
        self._renew(visit, part, meter, "failure", is_comeback=True)

    def _visit(self, visit: Visit, meter: float) -> Visit:
        visit.meter_hours = meter
        for part in self._fitted:
            age = meter - part.installed_meter if part.is_hours else visit.day - part.installed
            visit.shares[part.component] = min(age / part.life, 1.0)
        self.visits.append(visit)
        return visit

    def _renew(
        self, visit: Visit, part: _Fitted, meter: float, reason: str, *, is_comeback: bool = False
    ) -> None:
        share = visit.shares[part.component]
        self._end(part, visit.day, meter, "replaced", is_comeback=is_comeback)
        self._fit(part, visit.day, meter)
        visit.works.append(
            Work(
                component=part.component,
                activity="replace",
                reason=reason,
                life_share=share,
                is_comeback=is_comeback,
            )
        )

    def _end(
        self, part: _Fitted, day: float, meter: float, event: str, *, is_comeback: bool = False
    ) -> None:
        self.lives.append(
            Life(
                machine=self.machine,
                component=part.component,
                number=part.number,
                installed=part.installed,
                installed_meter=part.installed_meter,
                ended=day,
                ended_meter=meter,
                event=event,
                is_comeback=is_comeback,
            )
        )

    def _fit(self, part: _Fitted, day: float, meter: float) -> None:
        law = self.scenario.components[part.component]
        part.number += 1
        part.installed = day
        part.installed_meter = meter
        part.life = self._law.weibull(law.shape, law.scale_in(self.machine.duty))
        part.back_on = _NEVER
