"""Costs and duties as the settings file of a practice export states them, wrongly if asked."""

from dutylife.practice.fleet import Machine
from dutylife.practice.sections import Law
from dutylife.practice.streams import Stream
from dutylife.practice.truth import PracticeFleet


def stated_costs(fleet: PracticeFleet) -> dict[str, tuple[float, float]]:
    """Return planned and failure cost of each component as the settings file states them.

    All-in, one change: part and labour; for a failure also the visit and the lost days. The
    failure cost is off by the scenario's factor, up or down: up where down would not leave it
    above the planned cost.
    """
    factor = fleet.scenario.stated.failure_cost_factor
    out = {}
    for number, (name, law) in enumerate(fleet.scenario.components.items()):
        planned, failure = true_costs(fleet, law)
        is_low = Stream(fleet.seed, 1_000_111, number).chance(0.5)
        wrong = failure / factor if is_low and failure / factor > planned else failure * factor
        out[name] = (planned, wrong)
    return out


def true_costs(fleet: PracticeFleet, law: Law) -> tuple[float, float]:
    """Return planned and failure cost of one change of a component."""
    shop = fleet.scenario.shop
    planned = law.price * law.quantity + law.labour_hours * shop.labour_rate
    return planned, planned + shop.visit_cost + law.lost_days * shop.lost_day_cost


def wrong_duties(fleet: PracticeFleet) -> dict[str, str]:
    """Return the machines whose duty is stated wrongly, with the duty stated."""
    share = fleet.scenario.stated.wrong_duty_share
    out = {}
    for machine in sorted(fleet.machines, key=lambda m: m.unit_id):
        stream = Stream(fleet.seed, machine.index, 14)
        if share > 0 and stream.chance(share):
            out[machine.unit_id] = stream.pick(_other_duties(fleet, machine))
    return out


def _other_duties(fleet: PracticeFleet, machine: Machine) -> list[str]:
    return [duty for duty in fleet.scenario.duties if duty != machine.duty]
