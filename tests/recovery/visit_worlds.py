"""Fleets of known laws run forward under three plans, with the same lives in each.

Single dates: each part at its own best age, its visit paid each time. Present schedule: the
starting intervals, the same for every duty; what falls due within 30 days is done together. Visit
plan: `visit_tables`, made again each quarter from the ages of that day, and what it says of
machines that are open anyway.
"""

import datetime as dt
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.components import shipped_components
from dutylife.decisions import visit_tables
from dutylife.decisions.age_weibull import age_replacement_weibull
from dutylife.practice.truth import simulate_fleet
from dutylife.schema import as_table
from dutylife.settings import settings_from

SETTINGS = Path(__file__).parents[2] / "data_demo" / "dutylife.toml"
START = pd.Timestamp("2026-01-01")
QUARTERS, BURN_IN = 20, 4  # five years, the first one not counted
QUARTER_DAYS = 91
TOGETHER_DAYS = 30


@dataclass
class Part:
    """One place of a part: its law on its clock, its costs, and the part in it now."""

    fleet: int
    unit: str
    component: str
    clock: str
    per_day: float
    shape: float
    scale: float
    planned: float
    failure: float
    single_age: float  # best age alone, its visit included; inf: left to fail
    table_age: float  # of table "intervals"; inf: no row
    schedule_days: float  # of the present schedule; inf: none
    chances: np.ndarray = field(repr=False)  # exponential hazards lived through, life by life
    life: int = 0
    installed: float = 0.0

    def fails_on(self) -> float:
        age = self.scale * self.chances[self.life] ** (1 / self.shape)
        return self.installed + age / self.per_day

    def age(self, day: float) -> float:
        return (day - self.installed) * self.per_day

    def renew(self, day: float) -> None:
        self.life += 1
        self.installed = day


@dataclass
class World:
    """Fleets of the same known laws; every machine is named for its fleet too."""

    parts: list[Part]
    machines: pd.DataFrame
    laws: pd.DataFrame
    visit_cost: float
    n_fleets: int

    def fresh(self) -> dict[str, list[Part]]:
        """Parts by machine, as they stand on the first day."""
        out: dict[str, list[Part]] = {}
        for p in self.parts:
            out.setdefault(p.unit, []).append(Part(**vars(p)))
        return out


def make_world(n_fleets: int, n_units: int = 24, visit_cost: float = 25.0) -> World:
    """Practice fleets with their true laws, and the costs of the demonstration's settings."""
    costs = tomllib.loads(SETTINGS.read_text())["costs"]
    parts, machines, laws = [], [], pd.DataFrame()
    for seed in range(n_fleets):
        fleet = simulate_fleet(n_units=n_units, n_years=1, seed=seed)
        laws = fleet.laws[fleet.laws["distribution"] == "weibull"].set_index(["component", "duty"])
        random = np.random.default_rng([seed, 41])
        for m in fleet.machines:
            unit = f"{m.unit_id} of {seed}"
            machines.append(
                {"unit_id": unit, "equipment_class": m.equipment_class, "duty": m.duty,
                 "customer": f"{m.customer} of {seed}", "hours_per_week": m.hours_per_week}
            )  # fmt: skip
            for name in m.components:
                if name in costs and (name, m.duty) in laws.index:
                    part = _part(seed, unit, name, m, laws.loc[(name, m.duty)], costs[name],
                                 visit_cost, random)  # fmt: skip
                    parts.append(part)
    return World(parts, pd.DataFrame(machines), laws.reset_index(), visit_cost, n_fleets)


def _part(seed, unit, name, machine, law, cost, visit_cost, random) -> Part:
    """A part with an age that one of a fleet in service has."""
    shape, scale = float(law["shape"]), float(law["scale"])
    per_day = machine.hours_per_week / 7 if law["clock"] == "hours" else 1.0
    hurts = shipped_components()[name].can_hurt != ""
    table = best_age(shape, scale, cost["planned_cost"], cost["failure_cost"])
    single = best_age(shape, scale, cost["planned_cost"] + visit_cost, cost["failure_cost"])
    part = Part(
        fleet=seed, unit=unit, component=name, clock=str(law["clock"]), per_day=per_day,
        shape=shape, scale=scale, planned=cost["planned_cost"], failure=cost["failure_cost"],
        table_age=table,
        # what can hurt keeps to the interval of the table in every plan
        single_age=table if hurts else single,
        schedule_days=schedule(name, machine.hours_per_week),
        chances=random.exponential(size=200),
    )  # fmt: skip
    # the first life is one that has come to its age
    age = random.uniform(0, min(scale, table))
    part.chances[0] += (age / scale) ** shape
    part.installed = -age / per_day
    return part


def best_age(shape: float, scale: float, planned: float, failure: float) -> float:
    """Best age of age replacement; inf where it saves less than 1 %."""
    found = age_replacement_weibull(
        [shape], [scale], planned_cost=planned, failure_cost=failure, longest_age=4 * scale
    )
    return found.best_age if found.saving >= 0.01 and not found.beyond_seen else np.inf


def schedule(name: str, hours_per_week: float) -> float:
    """Days between two replacements by the starting intervals, hours or months first."""
    task = shipped_components()[name].first_task("replace")
    if task is None:
        return np.inf
    days = [task.interval_days] if task.interval_days is not None else []
    if task.interval_hours is not None:
        days.append(task.interval_hours / hours_per_week * 7)
    return min(days, default=np.inf)


def single_dates(world: World) -> np.ndarray:
    """Money a machine and year, of each fleet."""
    total = np.zeros(world.n_fleets)
    for parts in world.fresh().values():
        for p in parts:
            while True:
                fails, planned = p.fails_on(), p.installed + p.single_age / p.per_day
                day = max(min(fails, planned), 0.0)
                if day > QUARTERS * QUARTER_DAYS:
                    break
                cost = p.failure if fails <= planned else p.planned + world.visit_cost
                total[p.fleet] += cost * counts(day)
                p.renew(day)
    return per_machine_year(world, total)


def present_schedule(world: World) -> np.ndarray:
    """Money a machine and year; what is due within 30 days shares the visit."""
    total = np.zeros(world.n_fleets)
    for parts in world.fresh().values():
        while True:
            fails = min(parts, key=lambda p: p.fails_on())
            due = min(p.installed + p.schedule_days for p in parts)
            day = max(min(fails.fails_on(), due), 0.0)
            if day > QUARTERS * QUARTER_DAYS:
                break
            if fails.fails_on() <= due:
                total[fails.fleet] += fails.failure * counts(day)
                fails.renew(day)
                continue
            done = [p for p in parts if p.installed + p.schedule_days <= day + TOGETHER_DAYS]
            cost = world.visit_cost + sum(p.planned for p in done)
            total[done[0].fleet] += cost * counts(day)
            for p in done:
                p.renew(day)
    return per_machine_year(world, total)


def visit_plan(world: World, *, when_open: bool = True) -> np.ndarray:
    """Money a machine and year under the visit plan, made again each quarter."""
    fleet, total = world.fresh(), np.zeros(world.n_fleets)
    for quarter in range(QUARTERS):
        begin = quarter * QUARTER_DAYS
        tables = visit_tables(**_tables(world, fleet, begin))
        visits = tables["visit_plan"].astype({"unit_id": object})
        planned = {
            u: [
                ((d - START).days, {t.removeprefix("replace ") for t in names.split(";")})
                for d, names in zip(rows["due_on"], rows["tasks"], strict=True)
            ]
            for u, rows in visits.groupby("unit_id")
        }
        ages = tables["opportunities"].astype({"component": object, "duty": object})
        past = {
            (r.component, r.duty): (r.change_if_open_past_hours, r.change_if_open_past_days)
            for r in ages.itertuples()
        }
        duty = world.machines.set_index("unit_id")["duty"]
        for unit, parts in fleet.items():
            open_age = {
                p.component: past.get((p.component, duty[unit]), (np.inf, np.inf))[
                    p.clock != "hours"
                ]
                for p in parts
            }
            visits_of = [v for v in planned.get(unit, []) if v[0] <= begin + QUARTER_DAYS]
            total[parts[0].fleet] += _run_quarter(
                world, parts, visits_of, open_age, begin, when_open=when_open
            )
    return per_machine_year(world, total)


def _run_quarter(world, parts, visits, open_age, begin, *, when_open):
    """A machine's quarter: planned visits and failures in the order of their days.

    A planned visit does what it names, but for a part that was changed since the plan was made
    and is young. A machine that fails is open: parts past their threshold are changed, and a
    visit planned within 30 days is made then.
    """
    total, visits = 0.0, sorted(visits, key=lambda v: v[0])
    while True:
        fails = min(parts, key=lambda p: p.fails_on())
        failed_on = max(fails.fails_on(), begin)
        day = min(failed_on, visits[0][0] if visits else np.inf)
        if day > begin + QUARTER_DAYS:
            return total
        named, cost = set(), 0.0
        if failed_on <= day:
            total += fails.failure * counts(day)
            fails.renew(day)
            if when_open and visits and visits[0][0] <= day + TOGETHER_DAYS:
                named = visits.pop(0)[1]
        else:
            named, cost = visits.pop(0)[1], world.visit_cost
        is_failure = failed_on <= day
        done = [
            p for p in parts
            if p.installed < day
            and ((p.component in named and p.installed <= begin)
                 or (p.age(day) >= open_age[p.component]
                     and (p.component in named or (is_failure and when_open))))
        ]  # fmt: skip
        if done:
            total += (cost + sum(p.planned for p in done)) * counts(day)
        for p in done:
            p.renew(day)


def counts(day: float) -> float:
    return float(day > BURN_IN * QUARTER_DAYS)


def per_machine_year(world: World, total: np.ndarray) -> np.ndarray:
    years = (QUARTERS - BURN_IN) * QUARTER_DAYS / 365.25
    return total / years / (len(world.machines) / world.n_fleets)


def _tables(world: World, fleet: dict[str, list[Part]], begin: int) -> dict[str, object]:
    """What the planner reads, on a day of the simulation."""
    as_of = START + pd.Timedelta(days=begin)
    machines = world.machines.set_index("unit_id")
    lives, intervals, costs = [], {}, {}
    for unit, parts in fleet.items():
        row = machines.loc[unit]
        for p in parts:
            key = (p.component, row["duty"])
            lives.append(
                {"unit_id": unit, "component": p.component, "life_number": 1, "spell": 1,
                 "duty": row["duty"], "customer": row["customer"], "position": "",
                 "equipment_class": row["equipment_class"], "ended_on": as_of,
                 "installed_on": as_of - pd.Timedelta(days=int(begin - p.installed)),
                 "entry_days": 0.0, "exit_days": max(begin - p.installed, 0.5),
                 "entry_hours": 0.0,
                 "exit_hours": max(begin - p.installed, 0.5) * row["hours_per_week"] / 7,
                 "event": "running", "clock_source": "meter", "prob_in_service": 1.0,
                 "weight": 1.0}
            )  # fmt: skip
            costs[key] = {
                "component": p.component, "duty": row["duty"], "task": "replace",
                "planned_cost": p.planned, "failure_cost": p.failure, "is_relative": False,
                "visit_cost": world.visit_cost, "basis": "settings", "labour_hours": 0.5,
            }  # fmt: skip
            if np.isfinite(p.table_age):
                hours = p.table_age if p.clock == "hours" else None
                intervals[key] = {
                    "component": p.component, "duty": row["duty"], "task": "replace",
                    "interval_hours": hours, "clock": p.clock, "basis": "own data",
                    "interval_days": None if hours else p.table_age, "n_failed": 20,
                    "can_hurt": shipped_components()[p.component].can_hurt, "sentence": "known law",
                    "probability_it_pays": 1.0,
                }  # fmt: skip
    draws = world.laws.assign(
        draw=0, weight=1.0, failure_mode="", basis="own data", distribution="weibull"
    )[["component", "duty", "failure_mode", "clock", "draw", "weight", "distribution", "shape",
       "scale", "basis"]]  # fmt: skip
    units = world.machines.assign(
        in_service_on=START, first_seen=START, last_seen=as_of, prob_in_service=1.0,
        usage_source="stated", meter_unit="hours",
    ).drop(columns=["duty", "customer"])  # fmt: skip
    spans = world.machines.assign(from_date=START, to_date=as_of).drop(columns="equipment_class")
    settings = settings_from(
        {"fleet": {"as_of": dt.date.fromisoformat(f"{as_of:%Y-%m-%d}")},
         "workshop": {"visit_cost": world.visit_cost}, "report": {"horizon_months": 12}}
    )  # fmt: skip
    return {
        "intervals": as_table("intervals", pd.DataFrame(intervals.values())),
        "costs": as_table("costs", pd.DataFrame(costs.values())),
        "failure_events": as_table("failure_events", pd.DataFrame(lives)),
        "maintenance_events": as_table("maintenance_events", pd.DataFrame()),
        "units": as_table("units", units), "unit_spans": as_table("unit_spans", spans),
        "settings": settings, "life_draws": as_table("life_draws", draws),
    }  # fmt: skip
