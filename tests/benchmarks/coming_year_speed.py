"""The coming year of 500 machines of 12 components: plans compared, and each what-if, in seconds.

A ratio is seconds over one: "plain" waits for one second of the processor's time. ``rows`` only
scales the fleet down for tests: 500 machines stand for a million rows.
"""

import time
from collections.abc import Iterable

import numpy as np
import pandas as pd
from measuring import Aim, Benchmark, Pair

from dutylife.components import Component
from dutylife.decisions import what_if
from dutylife.decisions.comparison.policies import RECOMMENDED, SEEN, Look, Plan, Policy, Spacing
from dutylife.decisions.comparison.standing import Standing, StandingCell
from dutylife.decisions.comparison.streams import keys_of
from dutylife.decisions.comparison.terms import CellTerms, Terms
from dutylife.decisions.comparison.year import size_for, years_of
from dutylife.decisions.what_if_ground import Ground, year_of
from dutylife.settings import settings_from

N_COMPONENTS, DUTIES = 12, ("harbour", "stone yard", "verges", "hire")
CHANGES = {
    "cost of a lost day": {"lost_day_cost": 150},
    "loaner at hand": {"loaner_at_hand": True},
    "hours doubled": {"hours_factor": 2},
    "a new contract of 50": {"new_contract": {"duty": "harbour", "n_machines": 50}},
    "a part that lasts longer": {"longer_life": {"component": "part 0", "factor": 1.5}},
    "measure instead of change": {"measure_instead": "ignition cap"},
    "pre-cleaner or cover": {"cover": {"duty": "harbour", "factor": 1.3}},
    "skip a task": {"skip_task": "replace part 1"},
    "hire out": {"hire_out_days": 28},
}


def ground_of(n_machines: int) -> Ground:
    """A fleet with draws of laws, known and unknown ages, changes and looks."""
    rng = np.random.default_rng(1)
    units = [f"M{i:04d}" for i in range(n_machines)]
    duty = [DUTIES[i % 4] for i in range(n_machines)]
    use = rng.uniform(10, 40, n_machines)
    cells, policies, terms, longest = [], {}, {}, {}
    from dutylife.components import shipped_components

    for n in range(N_COMPONENTS):
        name = "ignition cap" if n == 11 else f"part {n}"
        component = shipped_components()[name] if n == 11 else Component(name=name)
        for place in DUTIES:
            machine = np.array([i for i in range(n_machines) if duty[i] == place])
            scale = rng.uniform(200, 900)
            shape = np.exp(rng.normal(0.7, 0.2, 64))
            age = rng.uniform(0, scale, len(machine))
            age[rng.random(len(machine)) < 0.2] = np.nan
            cell = StandingCell(
                component=component, duty=place, severe=False, on_meter=n % 2 == 0,
                basis="own data", shape=shape, scale=scale * np.exp(rng.normal(0, 0.15, 64)),
                weights=np.ones(64), machine=machine, age_days=age, counted_days=age,
                seen_days=np.full(len(machine), 300.0),
                days_per_unit=7 / use[machine] if n % 2 == 0 else np.ones(len(machine)),
                use_per_week=use[machine], looked_days=rng.uniform(0, 90, len(machine)),
                keys=keys_of([f"{units[i]} {n}" for i in machine], 1, "part"),
            )  # fmt: skip
            look = Look(
                task="inspect", spacing=Spacing(days=90.0), warning=Spacing(days=60.0),
                own_visit=n % 3 == 0, can_hurt=False,
            )  # fmt: skip
            at = Spacing(hours=0.6 * scale) if n % 2 == 0 else Spacing(days=0.6 * scale)
            policies[cell.key] = Policy(change_at=at, is_weighed=True, looks=(look,))
            terms[cell.key] = CellTerms(
                payer="contractor", planned_cost=40.0, failure_cost=260.0, lost_cost=180.0,
                lost_days=1.5, labour_hours=0.7, look_hours=0.3, look_cost=10.0, part_share=0.9,
                purchase_cost=12.0,
            )  # fmt: skip
            longest[cell.key] = 2 * scale
            cells.append(cell)
    standing = Standing(
        unit_id=tuple(units), customer=tuple(duty), duty=tuple(duty),
        equipment_class=("pump",) * n_machines, use_per_week=use,
        keys=keys_of(units, 1, "machine"), cells=tuple(cells), never_failed=(), n_without_use=0,
        as_of=pd.Timestamp("2026-01-01"),
    )  # fmt: skip
    ground = Ground(
        standing=standing, terms=Terms(cells=terms, visit_cost=20.0, labour_rate=50.0),
        plan=Plan(name=RECOMMENDED, policies=policies), longest=longest,
        settings=settings_from({}),
    )  # fmt: skip
    from dataclasses import replace

    return replace(ground, before=year_of(ground))


def one_second() -> None:
    """Keep the processor for a second of its own time."""
    end = time.process_time() + 1.0
    while time.process_time() < end:
        pass


def four_plans(ground: Ground) -> object:
    """The proposed plan, today's practice, a schedule and none, as a comparison simulates them."""
    bare = {k: Policy(change_at=p.change_at) for k, p in ground.plan.policies.items()}
    plans = [
        ground.plan,
        Plan(name=SEEN, policies=dict.fromkeys(bare, Policy(seen=(40.0, 40_000.0))),
             visits_a_day=dict.fromkeys(DUTIES, (300.0, 100_000.0))),
        Plan(name="present_schedule", policies=bare), Plan(name="none", policies={}),
    ]  # fmt: skip
    size = size_for(ground.standing.n_parts)
    return years_of(ground.standing, plans, ground.terms, seed=1, size=size)


def compared(rows: int) -> Iterable[Pair]:
    ground = ground_of(max(500 * rows // 1_000_000, 8))
    yield Pair("four plans, a year of each, against a second", lambda: four_plans(ground),
               one_second)  # fmt: skip


def asked(rows: int) -> Iterable[Pair]:
    ground = ground_of(max(500 * rows // 1_000_000, 8))
    for said, change in CHANGES.items():
        yield Pair(f"what if: {said}, against a second",
                   lambda change=change: what_if(ground, **change), one_second)  # fmt: skip


BENCHMARKS = (Benchmark("year-plans", None, compared), Benchmark("what-if", Aim(1.0), asked))
