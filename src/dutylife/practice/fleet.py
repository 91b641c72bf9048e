"""Machines of the practice fleet: customer, class, use, when they come and go."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream

DAYS_PER_YEAR = 365.25
_EPOCH = dt.date(1970, 1, 1)
# room behind the last simulated day, so that a life due after it still finds its day
_YEARS_BEHIND = 3


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Machine:
    """One machine; ``leaves`` is infinite when it stays. Days since 1970-01-01."""

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
        fleet.append(_machine(scenario, span, stream, index, name, customer, kind))
    return fleet


def _machine(
    scenario: Scenario,
    span: Span,
    stream: Stream,
    index: int,
    unit_id: str,
    customer: str,
    kind: str,
) -> Machine:
    record = scenario.record
    duty = scenario.customers[customer].duty
    if stream.chance(record.share_before_record):
        in_service = span.start - stream.uniform(0.0, record.history_years * DAYS_PER_YEAR)
    else:
        in_service = stream.uniform(span.start, span.end - 0.05 * (span.end - span.start))
    in_service = float(np.floor(in_service))
    # those in service before the record are the ones still here when it starts
    here = max(in_service, span.start)
    stay = stream.exponential(1.0)
    leaves = float("inf")
    if record.leaving_per_year > 0:
        leaves = here + stay * DAYS_PER_YEAR / record.leaving_per_year
    rate = scenario.duties[duty].hours_per_week * stream.lognormal(record.use_spread)
    return Machine(
        index=index,
        unit_id=unit_id,
        equipment_class=kind,
        engine=scenario.classes[kind].engine,
        customer=customer,
        duty=duty,
        in_service=in_service,
        leaves=leaves if leaves < span.until else float("inf"),
        is_leaving_known=stream.chance(record.share_leaving_known),
        is_in_service_known=stream.chance(record.share_in_service_known),
        has_meter=not stream.chance(record.share_without_meter),
        is_customer_here=not stream.chance(record.share_never_in),
        hours_per_week=rate,
        use=_use_curve(scenario, span, stream, duty, in_service, rate),
        components=tuple(scenario.components_of(kind)),
    )


def _use_curve(
    scenario: Scenario, span: Span, stream: Stream, duty: str, in_service: float, rate: float
) -> UseCurve:
    season = np.array(scenario.duties[duty].season) / np.mean(scenario.duties[duty].season)
    days = [in_service]
    hours = [0.0]
    until = span.until + _YEARS_BEHIND * DAYS_PER_YEAR
    while days[-1] < until:
        date = date_of(days[-1])
        month_end = day_of(months_on(date, 0)) + 1.0
        wobble = stream.lognormal(scenario.record.use_wobble)
        per_day = rate / 7.0 * float(season[date.month - 1]) * wobble
        hours.append(hours[-1] + per_day * (month_end - days[-1]))
        days.append(month_end)
    return UseCurve(np.array(days), np.array(hours))
