"""True lives of one machine's components: drawn from the laws, renewed at each change."""

from dataclasses import dataclass

import numpy as np

from dutylife.practice.fleet import Machine, Span
from dutylife.practice.parts import BATCH, NEVER, Fitted, Storeroom, due_days
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.practice.visits import REPAIR, SERVICE, WARRANTY, Visit, Work, calls

COMEBACK_DAYS = (3.0, 20.0)
# what a plan has due within so many days is done at one visit
PLAN_TOGETHER_DAYS = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """One life, or its part in one duty: entered there at an age, ended there.

    Days since 1970-01-01; meter is the machine's running hours. ``mode`` is the way it failed,
    ``is_faulty`` says that it was of the early batch.
    """

    machine: Machine
    component: str
    number: int
    duty: str
    entered: float
    entered_meter: float
    installed: float
    installed_meter: float
    ended: float
    ended_meter: float
    event: str
    is_comeback: bool = False
    mode: str = ""
    is_faulty: bool = False


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
        self._stops: list[tuple[float, float, float]] = []  # day, hours of use by then, not run
        self._not_run = 0.0
        self._now = machine.in_service
        self._store = Storeroom(scenario, span, machine, seed)
        self._moves = list(machine.spells[1:])
        self._guess = Stream(seed, machine.index, 5)
        self._shop = Stream(seed, machine.index, 2)
        self._calls = calls(scenario, span, machine, Stream(seed, machine.index, 3))
        self._fitted = [
            Fitted(name, scenario.clock(name) == "hours") for name in machine.components
        ]
        for part in self._fitted:
            self._store.fit(part, machine.in_service, 0.0)

    def run(self) -> None:
        """Live through every event in order; fills ``lives`` and ``visits``."""
        while True:
            due = due_days(self._fitted, self.machine.use, self._not_run)
            soonest = int(np.argmin(due))
            # what was due while the machine stood for repair waits until that is done
            backs = [max(part.back_on, self._now) for part in self._fitted]
            call_day = max(self._calls[0].day, self._now) if self._calls else NEVER
            move_day = max(self._moves[0].start, self._now) if self._moves else NEVER
            plans = [max(day, self._now) for day in self._planned_days()]
            first = min(float(due[soonest]), min(backs), call_day, move_day, min(plans))
            if first >= self.stop:
                break
            if first == move_day:
                self._move(move_day)
            elif first == due[soonest]:
                if not self._fail(first, due):
                    return
            elif first == call_day:
                self._call(self._calls.pop(0), call_day)
            elif first == min(plans):
                self._follow_plan(first, plans)
            else:
                self._come_back(self._fitted[backs.index(first)], first)
        meter = self.meter_at(self.stop)
        event = "lost" if self.machine.leaves <= self.stop else "running"
        for part in self._fitted:
            self._end(part, self.stop, meter, event)

    def meter_at(self, day: float) -> float:
        """Running hours at a day, stops for repair taken out."""
        due = self.machine.use.hours_at(day)
        hours = due
        for stopped, due_then, not_run in self._stops:
            if day > stopped:
                hours -= min(not_run, due - due_then)
        return hours

    def _planned_days(self) -> list[float]:
        use = self.machine.use
        return [self._store.planned_day(part, use, self._not_run) for part in self._fitted]

    def _move(self, day: float) -> None:
        """Go to the customer of another duty: every life goes on there."""
        spell = self._moves.pop(0)
        meter = self.meter_at(day)
        for part in self._fitted:
            self._end(part, day, meter, "moved")
            self._store.move(part, spell.customer, spell.duty, day, meter)
        self._store.customer, self._store.duty = spell.customer, spell.duty

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
        self._stops.append((day, use.hours_at(day), not_run))
        self._not_run += not_run
        self._now = repaired
        guessed = self._guessed({part.component for part, _ in failed})
        visit.is_shotgun = bool(guessed)
        for part, at in failed:
            law = self.scenario.components[part.component]
            is_cleaned = self._shop.chance(law.clean_share) and not guessed
            self._end(part, at, meter, "failed")
            visit.works.append(
                Work(
                    component=part.component,
                    activity="clean" if is_cleaned else "replace",
                    reason="failure",
                    life_share=1.0,
                    mode=part.mode,
                )
            )
            self._store.fit(part, repaired, meter)
            if self._shop.chance(self.scenario.visits.comeback_share):
                part.back_on = repaired + self._shop.uniform(*COMEBACK_DAYS)
        for part in self._fitted:
            if part.component in guessed:
                self._renew(visit, part, meter, "opportunistic")
        done = {part.component for part, _ in failed} | guessed
        if not guessed:
            self._change_with(visit, done, meter)
        return True

    def _guessed(self, failed: set[str]) -> set[str]:
        """Sound parts of the group of the one that failed, changed because nobody looked."""
        share = self.scenario.shotgun.share
        if share <= 0 or len(failed) != 1 or not self._guess.chance(share):
            return set()
        for group in self.scenario.shotgun.groups:
            if failed <= set(group) <= set(self.machine.components):
                return set(group) - failed
        return set()

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

    def _is_old_enough(self, part: Fitted, day: float) -> bool:
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

    def _follow_plan(self, day: float, plans: list[float]) -> None:
        """Replace at one visit what the plan has due on the day or soon after."""
        meter = self.meter_at(day)
        visit = self._visit(Visit(machine=self.machine, day=day, kind=SERVICE), meter)
        for part, due in zip(self._fitted, plans, strict=True):
            if due <= day + PLAN_TOGETHER_DAYS:
                self._renew(visit, part, meter, "preventive")

    def _come_back(self, part: Fitted, day: float) -> None:
        """Poor work, not the part's law: ends the life without a failure by that law."""
        meter = self.meter_at(day)
        visit = self._visit(Visit(machine=self.machine, day=day, kind=WARRANTY), meter)
        self._renew(visit, part, meter, "failure", is_comeback=True)

    def _visit(self, visit: Visit, meter: float) -> Visit:
        visit.meter_hours = meter
        for part in self._fitted:
            visit.shares[part.component] = min(part.age(visit.day, meter) / part.life, 1.0)
        self.visits.append(visit)
        return visit

    def _renew(
        self, visit: Visit, part: Fitted, meter: float, reason: str, *, is_comeback: bool = False
    ) -> None:
        share = visit.shares[part.component]
        self._end(part, visit.day, meter, "replaced", is_comeback=is_comeback)
        self._store.fit(part, visit.day, meter)
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
        self, part: Fitted, day: float, meter: float, event: str, *, is_comeback: bool = False
    ) -> None:
        self.lives.append(
            Life(
                machine=self.machine,
                component=part.component,
                number=part.number,
                duty=self._store.duty,
                entered=part.entered,
                entered_meter=part.entered_meter,
                installed=part.installed,
                installed_meter=part.installed_meter,
                ended=day,
                ended_meter=meter,
                event=event,
                is_comeback=is_comeback,
                mode=part.mode if event == "failed" else "",
                is_faulty=BATCH in part.hazards,
            )
        )
