"""What brings machines in besides failures, and what was done at a visit: plain records."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from dutylife.practice.fleet import Machine, Span
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.vocabulary.spans import DAYS_PER_YEAR

# visits of a kind the customer did not plan by failure; a failure is kind "repair"
SERVICE, CHECK, OTHER, REPAIR, WARRANTY, COUNTER = (
    "service", "check", "other", "repair", "warranty", "counter"
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One thing done to one component; ``life_share`` is its age over its true life."""

    component: str
    activity: str
    reason: str
    life_share: float = 0.0
    is_comeback: bool = False
    mode: str = ""


@dataclass(slots=True, kw_only=True)
class Visit:
    """One machine in the shop; ``shares`` holds age over life of each component before the work.

    ``is_shotgun``: parts changed by guess, which the text does not name.
    """

    machine: Machine
    day: float
    kind: str
    meter_hours: float = 0.0
    works: list[Work] = field(default_factory=list)
    shares: dict[str, float] = field(default_factory=dict)
    is_shotgun: bool = False

    @property
    def customer(self) -> str:
        """Customer the machine is with on the day."""
        return self.machine.spell_at(self.day).customer

    @property
    def causes(self) -> list[Work]:
        """The works a failure or a comeback called for."""
        return [w for w in self.works if w.reason == "failure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterSale:
    """Parts sold without a machine; a returned sale has a negative quantity.

    ``machine`` names the one on whose ticket a part too many was billed (``visit``) or credited.
    """

    day: float
    customer: str
    part_number: str
    component: str
    quantity: int
    machine: Machine | None = None
    visit: Visit | None = None


def calls(scenario: Scenario, span: Span, machine: Machine, stream: Stream) -> list[Visit]:
    """Visits of a machine that no failure causes, by day: services, checks, other work."""
    start, end = machine.in_service, min(machine.leaves, span.until)
    found: list[Visit] = []
    ends = [*(spell.start for spell in machine.spells[1:]), end]
    for spell, spell_end in zip(machine.spells, ends, strict=True):
        if not scenario.customers[spell.customer].serviced:
            continue
        every = scenario.visits.service_days
        due = spell.start + every * stream.uniform(0.3, 1.0)
        while due < min(spell_end, end):
            day = due + stream.uniform(-15.0, 15.0)
            if stream.chance(scenario.visits.service_attendance) and start < day < end:
                found.append(Visit(machine=machine, day=day, kind=SERVICE))
            due += every
    for kind, per_year in (
        (CHECK, scenario.visits.checks_per_year),
        (OTHER, scenario.visits.other_per_year),
    ):
        days = stream.arrivals(start, end, per_year / DAYS_PER_YEAR)
        found += [Visit(machine=machine, day=day, kind=kind) for day in days]
    return sorted(found, key=lambda visit: visit.day)


def counter_sales(scenario: Scenario, span: Span, n_units: int, seed: int) -> list[CounterSale]:
    """Sales without a machine, for machines that are not on this list; a few come back.

    Parameters
    ----------
    scenario : Scenario
    span : Span
        From the record's start to the end of the future.
    n_units : int
        The rate of sales grows with the fleet.
    seed : int
    """
    stream = Stream(seed, 1_000_003, 0)
    visits = scenario.visits
    per_week = visits.counter_per_week_least + visits.counter_per_week_per_100 * n_units / 100.0
    # cheap wearing parts go over the counter more often than dear ones
    offers = {
        (number, name): 1.0 / law.price
        for name, law in scenario.components.items()
        for number in dict.fromkeys(law.part_numbers.values())
    }
    offers |= {(n, p.component): 2.0 / p.price for n, p in scenario.other_parts.items()}
    buyers = {name: buyer.weight for name, buyer in scenario.customers.items()}
    sales: list[CounterSale] = []
    for day in stream.arrivals(span.start, span.until, per_week / 7.0):
        number, component = stream.pick(list(offers), list(offers.values()))
        sale = CounterSale(
            day=day,
            customer=stream.pick_key(buyers),
            part_number=number,
            component=component,
            quantity=stream.pick((1, 2, 3), (0.75, 0.2, 0.05)),
        )
        sales.append(sale)
        if stream.chance(visits.return_share):
            back = CounterSale(
                day=day + stream.uniform(1.0, 14.0),
                customer=sale.customer,
                part_number=number,
                component=component,
                quantity=-1,
            )
            if back.day < span.until:
                sales.append(back)
    return sorted(sales, key=lambda sale: sale.day)


def visit_returns(
    scenario: Scenario, span: Span, visits: Sequence[Visit], seed: int
) -> list[CounterSale]:
    """Parts billed too many on tickets of repairs, each with its credit some days later.

    Parameters
    ----------
    scenario : Scenario
    span : Span
    visits : sequence of Visit
    seed : int

    Returns
    -------
    list of CounterSale
        Pairs: the part billed with its visit, and its credit, which names the machine.
    """
    found: list[CounterSale] = []
    counts: dict[int, int] = {}
    for visit in visits:
        index = visit.machine.index
        counts[index] = counts.get(index, 0) + 1
        stream = Stream(seed, index, 8, counts[index])
        if visit.kind != REPAIR or not stream.chance(scenario.visits.visit_return_share):
            continue
        # one that was tried and not needed; the same as one in use would be a true second piece
        used = {work.component for work in visit.works}
        idle = [c for c in visit.machine.components if c not in used]
        if not idle:
            continue
        component = stream.pick(idle)
        day = visit.day + stream.uniform(1.0, 14.0)
        if day >= span.until:
            continue
        sale = CounterSale(
            day=visit.day,
            customer=visit.customer,
            part_number=scenario.part_number(component, visit.machine.equipment_class),
            component=component,
            quantity=1,
            machine=visit.machine,
            visit=visit,
        )
        found += [sale, replace(sale, day=day, quantity=-1, visit=None)]
    return found
