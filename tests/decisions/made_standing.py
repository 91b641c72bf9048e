"""A standing fleet of one component, made by hand, and what a simulation of it counts."""

import numpy as np
import pandas as pd

from dutylife.components import Component
from dutylife.decisions.comparison.policies import Plan, Policy
from dutylife.decisions.comparison.standing import Standing, StandingCell
from dutylife.decisions.comparison.streams import keys_of
from dutylife.decisions.comparison.terms import CellTerms, Terms
from dutylife.decisions.comparison.year import Size, years_of

KEY = ("part", "yard")


def standing(shape=2.0, scale=100.0, *, n=200, age=0.0, seen=0.0, use=70.0, looked=np.nan):
    names = [f"M{i:04d}" for i in range(n)]
    cell = StandingCell(
        component=Component(name="part"), duty="yard", severe=False, on_meter=False,
        basis="own data", shape=np.atleast_1d(shape).astype(float),
        scale=np.atleast_1d(scale).astype(float), weights=np.ones(np.size(shape)),
        machine=np.arange(n), age_days=np.full(n, float(age)),
        counted_days=np.full(n, float(age)), seen_days=np.full(n, float(seen)),
        days_per_unit=np.ones(n), use_per_week=np.full(n, use), looked_days=np.full(n, looked),
        keys=keys_of(names, 1, "part"),
    )  # fmt: skip
    return Standing(
        unit_id=tuple(names), customer=("C",) * n, duty=("yard",) * n, equipment_class=("",) * n,
        use_per_week=np.full(n, use), keys=keys_of(names, 1, "machine"), cells=(cell,),
        never_failed=(), n_without_use=0, as_of=pd.Timestamp("2026-01-01"),
    )  # fmt: skip


def terms(**changed):
    each = {
        "payer": "contractor", "planned_cost": 1.0, "failure_cost": 5.0, "lost_cost": 3.0,
        "lost_days": 2.0, "labour_hours": 1.0, "look_hours": 0.5, "look_cost": 0.1,
        "part_share": 1.0, "purchase_cost": 0.5,
    } | changed  # fmt: skip
    return Terms(cells={KEY: CellTerms(**each)}, visit_cost=None, labour_rate=10.0)


def year(fleet, policy=None, days=365.25, *, size=None, given=None, **more):
    plan = Plan(name="recommended", policies={KEY: policy or Policy()})
    (found,) = years_of(
        fleet, [plan], given or terms(), seed=1, horizon_days=days,
        size=size or Size(n_groups=50, per_group=1), **more,
    )  # fmt: skip
    return found


def mean(found, measure):
    return float(found.sums[measure].mean())
