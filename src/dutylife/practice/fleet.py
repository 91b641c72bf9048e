"""Machines of the practice fleet: customer, class, use, when they come and go."""

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np

from dutylife.practice.laws import gamma_factor
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.vocabulary.spans import DAYS_PER_YEAR

_EPOCH = dt.date(1970, 1, 1)
# room behind the last simulated day, so that a life due after it still finds its day
_YEARS_BEHIND = 3
# numbers of announced machines, beyond those any fleet has
_FIRST_ANNOUNCED = 500_000
_FIRST_ANNOUNCED_NAME = 90_001
# and of those that keep coming
_FIRST_ARRIVING = 600_000
_FIRST_ARRIVING_NAME = 60_001


def day_of(date: dt.date) -> float:
    """Days since 1970-01-01 at the start of a date, in days."""
    return float((date - _EPOCH).days)


def date_of(day: float) -> dt.date:
    """Date a day number falls on."""
    return _EPOCH + dt.timedelta(days=int(np.floor(day)))


def months_on(date: dt.date, months: int) -> dt.date:
    """Last day of the month that many months after the date's month."""
    index = date.year * 12 + date.month - 1 + months + 1
    return dt.date(index // 12, index % 12 + 1, 1) - dt.timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Days the simulation knows: record start, end of its last day, end of the future."""

    start: float
    end: float
    until: float


def span_of(scenario: Scenario, n_years: float) -> Span:
    """Return the record of ``n_years`` up to the as-of date, and the future behind it."""
    as_of = scenario.record.as_of
    end = day_of(as_of) + 1.0
    until = day_of(months_on(as_of, scenario.record.future_months)) + 1.0
    return Span(start=end - round(n_years * DAYS_PER_YEAR), end=end, until=max(until, end))


class UseCurve:
    """Running hours a machine would have by a day, straight within each month.

    Parameters
    ----------
    days, hours : ndarray, shape (n,)  [d], [h]
        Both rising.
    """

    def __init__(self, days: np.ndarray, hours: np.ndarray) -> None:
        self.days = days
        self.hours = hours

    def hours_at(self, day: float) -> float:
        """Running hours by a day, in hours."""
        return float(np.interp(day, self.days, self.hours))

    def day_at(self, hours: float) -> float:
        """Day those hours are reached; infinite when beyond the curve."""
        if hours >= self.hours[-1]:
            return float("inf")
        return float(np.interp(hours, self.hours, self.days))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """A machine at one customer, from a day on; ``hours_per_week`` as it runs there."""

    start: float
    customer: str
    duty: str
    hours_per_week: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Machine:
    """One machine; ``leaves`` is infinite when it stays. Days since 1970-01-01.

    ``customer``, ``duty`` and ``hours_per_week`` are those at the record's last day; ``spells``
    has all there are. ``risk`` multiplies the hazard of every part on it.
    """

    index: int
    unit_id: str
    equipment_class: str
    engine: str
    customer: str
    duty: str
    in_service: float
    leaves: float
    is_leaving_known: bool
    is_in_service_known: bool
    has_meter: bool
    is_customer_here: bool
    hours_per_week: float
    use: UseCurve
    components: tuple[str, ...]
    spells: tuple[Spell, ...]
    risk: float = 1.0

    def spell_at(self, day: float) -> Spell:
        """Where the machine is on a day."""
        return [s for s in self.spells if s.start <= day or s is self.spells[0]][-1]


def make_machines(scenario: Scenario, span: Span, n_units: int, seed: int) -> list[Machine]:
    """Return the fleet; each machine has its own stream, so that a larger fleet keeps the first.

    Parameters
    ----------
    scenario : Scenario
    span : Span
    n_units : int
    seed : int
    """
    numbers = dict.fromkeys(scenario.classes, 0)
    fleet: list[Machine] = []
    for index in range(n_units):
        stream = Stream(seed, index, 0)
        customer = stream.pick_key({n: c.weight for n, c in scenario.customers.items()})
        duty = scenario.customers[customer].duty
        kind = stream.pick_key(scenario.duties[duty].classes)
        numbers[kind] += 1
        name = f"{scenario.classes[kind].prefix}-{numbers[kind]:03d}"
        fleet.append(_machine(scenario, span, stream, seed, index, name, customer, kind))
    return fleet


def announced_machines(scenario: Scenario, span: Span, n_units: int, seed: int) -> list[Machine]:
    """Return the machines promised at the cut-off: one class, one customer, new the day after.

    Parameters
    ----------
    scenario : Scenario
    span : Span
    n_units : int
        Machines of the fleet; these come on top.
    seed : int
    """
    n_announced = math.ceil(scenario.announced.share_of_fleet * n_units)
    if not n_announced or span.until <= span.end:
        return []
    stream = Stream(seed, 1_000_081, 0)
    customer = stream.pick_key({n: c.weight for n, c in scenario.customers.items()})
    duty = scenario.customers[customer].duty
    kind = stream.pick_key(scenario.duties[duty].classes)
    prefix = scenario.classes[kind].prefix
    return [
        _machine(
            scenario, span, Stream(seed, _FIRST_ANNOUNCED + i, 0), seed, _FIRST_ANNOUNCED + i,
            f"{prefix}-{_FIRST_ANNOUNCED_NAME + i}", customer, kind, in_service=span.end,
        )
        for i in range(n_announced)
    ]  # fmt: skip


def arriving_machines(scenario: Scenario, span: Span, n_units: int, seed: int) -> list[Machine]:
    """Return the machines that keep coming, new, from the record's start to the future's end.

    Parameters
    ----------
    scenario : Scenario
    span : Span
    n_units : int
        Machines of the fleet; these come on top, a Poisson number of them.
    seed : int
    """
    per_year = scenario.arrivals.share_of_fleet_a_year * n_units
    days = Stream(seed, 1_000_117, 0).arrivals(span.start, span.until, per_year / DAYS_PER_YEAR)
    fleet = []
    for i, day in enumerate(days):
        stream = Stream(seed, _FIRST_ARRIVING + i, 0)
        customer = stream.pick_key({n: c.weight for n, c in scenario.customers.items()})
        kind = stream.pick_key(scenario.duties[scenario.customers[customer].duty].classes)
        name = f"{scenario.classes[kind].prefix}-{_FIRST_ARRIVING_NAME + i}"
        fleet.append(
            _machine(
                scenario, span, stream, seed, _FIRST_ARRIVING + i, name, customer, kind,
                in_service=float(np.floor(day)),
            )
        )  # fmt: skip
    return fleet


def _machine(
    scenario: Scenario,
    span: Span,
    stream: Stream,
    seed: int,
    index: int,
    unit_id: str,
    customer: str,
    kind: str,
    in_service: float | None = None,
) -> Machine:
    record = scenario.record
    if stream.chance(record.share_before_record):
        entered = span.start - stream.uniform(0.0, record.history_years * DAYS_PER_YEAR)
    else:
        entered = stream.uniform(span.start, span.end - 0.05 * (span.end - span.start))
    entered = float(np.floor(entered)) if in_service is None else in_service
    # those in service before the record are the ones still here when it starts
    here = max(entered, span.start)
    stay = stream.exponential(1.0)
    leaves = float("inf")
    if record.leaving_per_year > 0:
        leaves = here + stay * DAYS_PER_YEAR / record.leaving_per_year
    its_use = stream.lognormal(record.use_spread)
    spells = _spells(scenario, span, seed, index, customer, kind, entered, its_use)
    at_end = [s for s in spells if s.start < span.end or s is spells[0]][-1]
    return Machine(
        index=index,
        unit_id=unit_id,
        equipment_class=kind,
        engine=scenario.classes[kind].engine,
        customer=at_end.customer,
        duty=at_end.duty,
        in_service=entered,
        leaves=leaves if leaves < span.until else float("inf"),
        is_leaving_known=stream.chance(record.share_leaving_known),
        is_in_service_known=stream.chance(1.0 - record.share_in_service_unknown),
        has_meter=not stream.chance(record.share_without_meter),
        is_customer_here=not stream.chance(record.share_never_in) or in_service is not None,
        hours_per_week=at_end.hours_per_week,
        use=_use_curve(scenario, span, stream, spells),
        components=tuple(scenario.components_of(kind)),
        spells=spells,
        risk=gamma_factor(Stream(seed, index, 11), scenario.spread.machine_variance),
    )


def _spells(
    scenario: Scenario,
    span: Span,
    seed: int,
    index: int,
    customer: str,
    kind: str,
    entered: float,
    its_use: float,
) -> tuple[Spell, ...]:
    """The customer it starts with, and those of another duty it moves to within the record."""
    duty = scenario.customers[customer].duty
    rate = scenario.duties[duty].hours_per_week * its_use
    spells = [Spell(start=entered, customer=customer, duty=duty, hours_per_week=rate)]
    stream = Stream(seed, index, 10)
    per_day = scenario.record.moves_per_year / DAYS_PER_YEAR
    for day in stream.arrivals(max(entered, span.start), span.until, per_day):
        # a duty in which such machines work has laws for all their parts
        others = {
            name: buyer.weight
            for name, buyer in scenario.customers.items()
            if buyer.duty != spells[-1].duty and kind in scenario.duties[buyer.duty].classes
        }
        if not others:
            break
        name = stream.pick_key(others)
        duty = scenario.customers[name].duty
        rate = scenario.duties[duty].hours_per_week * its_use
        start = float(np.floor(day))
        if start > spells[-1].start:
            spells.append(Spell(start=start, customer=name, duty=duty, hours_per_week=rate))
    return tuple(spells)


def _use_curve(
    scenario: Scenario, span: Span, stream: Stream, spells: tuple[Spell, ...]
) -> UseCurve:
    seasons = {
        s.duty: np.array(scenario.duties[s.duty].season) / np.mean(scenario.duties[s.duty].season)
        for s in spells
    }
    days = [spells[0].start]
    hours = [0.0]
    until = span.until + _YEARS_BEHIND * DAYS_PER_YEAR
    while days[-1] < until:
        date = date_of(days[-1])
        month_end = day_of(months_on(date, 0)) + 1.0
        wobble = stream.lognormal(scenario.record.use_wobble)
        moves = [s.start for s in spells[1:] if days[-1] < s.start < month_end]
        for end in (*moves, month_end):
            here = [s for s in spells if s.start <= days[-1]][-1]
            season = float(seasons[here.duty][date.month - 1])
            per_day = here.hours_per_week / 7.0 * season * wobble
            hours.append(hours[-1] + per_day * (end - days[-1]))
            days.append(end)
    return UseCurve(np.array(days), np.array(hours))
