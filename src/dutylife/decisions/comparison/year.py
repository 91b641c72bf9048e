"""A plan on the fleet through a span: failures, visits, parts, hours, days and money by machine."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.decisions.comparison.blocks import blocks_of
from dutylife.decisions.comparison.policies import Plan, Policy
from dutylife.decisions.comparison.renewals import (
    CHANGED,
    FAILED,
    FOUND,
    LOOKED,
    Away,
    Happenings,
    happenings,
    luck_of,
)
from dutylife.decisions.comparison.standing import Standing, StandingCell
from dutylife.decisions.comparison.streams import law_of_each_group, uniforms
from dutylife.decisions.comparison.terms import CellTerms, Terms
from dutylife.decisions.comparison.visiting import SeenVisits, in_order, planned_visits
from dutylife.decisions.visits.jobs import GROUP_DAYS
from dutylife.provenance import seed_of
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MEASURES = ("failures", "visits", "parts", "labour_hours", "lost_days", "contractor", "shop")
_FAILURE_MONEY = "failure money"
_SUMMED = (*(m for m in MEASURES if m != "visits"), _FAILURE_MONEY)
# simulated part-years of a comparison: about a second on one core, four plans
_PAIRS = 600_000
_N_GROUPS = 64


MACHINES_AT_ONCE = 4000  # what happens to more is not held in memory together
EXACT_MACHINES = 20_000  # of more, a year's figures are kept to seven digits each


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Simulations: ``n_groups`` draws of all laws, ``per_group`` years under each."""

    n_groups: int
    per_group: int

    @property
    def n(self) -> int:
        """Simulations in all."""
        return self.n_groups * self.per_group


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Year:
    """What a plan brings in the span: by measure, shape (n_machines, n_simulations).

    A measure that can't be told is missing everywhere.
    """

    plan: str
    sums: dict[str, Array]
    failure_money: Array
    size: Size

    def kept_as(self, kind: type[np.floating[Any]]) -> "Year":
        """Return the same in another precision."""
        if self.failure_money.dtype == kind:
            return self
        sums = {name: values.astype(kind) for name, values in self.sums.items()}
        return replace(self, sums=sums, failure_money=self.failure_money.astype(kind))


def together(years: list[Year]) -> Year:
    """Years of blocks of machines as one; empties them."""
    if len(years) == 1:
        return years[0]
    sums = {n: np.concatenate([y.sums.pop(n) for y in years]) for n in list(years[0].sums)}
    return replace(
        years[0], sums=sums, failure_money=np.concatenate([y.failure_money for y in years])
    )


def size_for(n_parts: int) -> Size:
    """As many simulations as about a second allows, 128 to 1024."""
    per_group = int(np.clip(_PAIRS / max(n_parts, 1) // _N_GROUPS, 2, 16))
    return Size(n_groups=_N_GROUPS, per_group=per_group)


def years_of(
    standing: Standing,
    plans: Sequence[Plan],
    terms: Terms,
    *,
    seed: int,
    size: Size | None = None,
    horizon_days: float = DAYS_PER_YEAR,
    away: Away | None = None,
) -> list[Year]:
    """Simulate plans on one fleet with the same luck.

    Parameters
    ----------
    standing : Standing
    plans : sequence of Plan
    terms : Terms
    seed : int
    size : Size, optional
        As many simulations as about a second allows when not given.
    horizon_days : float
        [d]
    away : Away, optional
        Machines away at a stretch; ``phase`` by machine.

    Notes
    -----
    Each group of simulations takes one draw of each cell's law, so that what is not known of the
    laws goes from group to group and chance goes within them. Planned work within 30 days after a
    visit's first task, or after a failure, is done in that visit. Machines go through in blocks
    of 4000; what a machine meets is its own, so that blocks change nothing. Of more than 20 000
    machines the figures kept are single precision: sums over them are right to seven digits.
    """
    size = size or size_for(standing.n_parts)
    seen = [SeenVisits(plan, size.n_groups, size.per_group, seed, horizon_days) for plan in plans]
    kind = np.float64 if standing.n_machines <= EXACT_MACHINES else np.float32
    found: list[list[Year]] = [[] for _ in plans]
    for machines, part_away in blocks_of(standing, away, MACHINES_AT_ONCE):
        years = _of_block(machines, plans, terms, seed, size, horizon_days, part_away, seen)
        for kept, year in zip(found, years, strict=True):
            kept.append(year.kept_as(kind))
    return [together(years) for years in found]


def _of_block(
    standing: Standing, plans: Sequence[Plan], terms: Terms, seed: int, size: Size,
    horizon_days: float, away: Away | None, seen: Sequence[SeenVisits],
) -> list[Year]:  # fmt: skip
    simulation = np.arange(size.n)
    caught_up = uniforms(standing.keys[:, None], simulation[None, :], 0)
    gaps = [_visit_gap(standing, plan) for plan in plans]
    found: list[list[tuple[StandingCell, Happenings]]] = [[] for _ in plans]
    for cell in standing.cells:
        # duties that lend to each other err together; draws of all cells stand in one order
        shared = cell.key[:1] if cell.basis == "pooled" else cell.key
        key = seed_of(seed, "comparison", "law", *shared)
        taken = law_of_each_group(cell.weights, size.n_groups, key)
        luck = luck_of(cell, np.repeat(taken, size.per_group), caught_up[cell.machine])
        out = None if away is None else Away(days=away.days, phase=away.phase[cell.machine])
        for plan, gap, kept in zip(plans, gaps, found, strict=True):
            policy = plan.policies.get(cell.key, Policy())
            rate = _seen_rate(policy, size, seed_of(seed, "comparison", "seen", *cell.key))
            mine = None if gap is None else gap[cell.machine]
            kept.append((cell, happenings(cell, policy, luck, rate, horizon_days, out, mine)))
    return [
        _year(standing, plan, terms, kept, size, horizon_days, visits)
        for plan, kept, visits in zip(plans, found, seen, strict=True)
    ]


def _visit_gap(standing: Standing, plan: Plan) -> Array | None:
    """Days between visits of each machine, about; None where no look waits for one.

    Failures, changes and looks that make a visit come at the long-run rates of their parts, as if
    at random, and what comes within 30 days of a visit's first shares it.
    """
    waiting = [look for p in plan.policies.values() for look in p.looks if not look.own_visit]
    if not waiting:
        return None
    rate = np.zeros(standing.n_machines)
    for cell in standing.cells:
        policy = plan.policies.get(cell.key, Policy())
        np.add.at(rate, cell.machine, _visits_a_day(cell, policy))
    return np.asarray(GROUP_DAYS + 1 / np.maximum(rate, 1e-9))


def _visits_a_day(cell: StandingCell, policy: Policy) -> Array:
    """Visits that each part of a cell calls for, by the mean law: renewals and own looks."""
    from scipy.special import gamma, gammainc

    weight = cell.weights / cell.weights.sum()
    k = float(np.exp(weight @ np.log(cell.shape)))
    eta = float(np.exp(weight @ np.log(cell.scale))) * cell.days_per_unit
    whole = eta * gamma(1 + 1 / k)
    lived = whole
    if policy.change_at is not None and not policy.crew:
        age = policy.change_at.in_days(cell.use_per_week)
        known = np.isfinite(age)
        until = np.where(known, age, 0.0)
        hazard = (until / eta) ** k
        part = whole * gammainc(1 / k, hazard)
        lived = np.where(known, np.maximum(part, 1e-9), whole)
    out = 1 / lived
    for look in policy.looks:
        if look.own_visit:
            out = out + 1 / look.spacing.in_days(cell.use_per_week)
    return np.asarray(out)


def _seen_rate(policy: Policy, size: Size, key: int) -> Array:
    n, days = policy.seen
    if not (n > 0 and days > 0):
        return np.zeros(size.n)
    rate = np.random.default_rng(key).gamma(n, 1 / days, size=size.n_groups)
    return np.repeat(rate, size.per_group)


def _year(
    standing: Standing,
    plan: Plan,
    terms: Terms,
    kept: list[tuple[StandingCell, Happenings]],
    size: Size,
    horizon: float,
    seen: SeenVisits,
) -> Year:
    shape = (standing.n_machines, size.n)
    total = np.zeros((*shape, len(_SUMMED)))
    days: list[Ints] = [np.empty(0, np.int64)]
    for cell, all_of in kept:
        each = _each(terms, terms.cells[cell.key])
        at = all_of.part * size.n + all_of.simulation
        counted = np.bincount(at * 4 + all_of.kind, minlength=len(cell.machine) * size.n * 4)
        counts: Array = counted.reshape(len(cell.machine), size.n, 4).astype(float)
        # looks at the record's rate are not simulated one by one
        counts[:, :, LOOKED] += plan.policies.get(cell.key, Policy()).looks_a_day * horizon
        np.add.at(total, cell.machine, counts @ each)
        extra = terms.lost_beyond(cell.key, [standing.customer[m] for m in cell.machine])
        if extra.any():
            more = counts[:, :, FAILED] * extra[:, None]
            for column in (_SUMMED.index("contractor"), _SUMMED.index(_FAILURE_MONEY)):
                np.add.at(total[:, :, column], cell.machine, more)
        visiting = np.flatnonzero((all_of.kind == FAILED) | all_of.own_visit)
        place = cell.machine[all_of.part[visiting]] * size.n + all_of.simulation[visiting]
        days.append(in_order(place, all_of.day[visiting], all_of.kind[visiting] != FAILED))
    sums = {name: total[:, :, number] for number, name in enumerate(_SUMMED)}
    failure_money = sums.pop(_FAILURE_MONEY)
    planned = (
        seen.next_of(standing.duty)
        if plan.visits_a_day is not None
        else planned_visits(np.concatenate(days), shape)
    )
    sums["visits"] = sums["failures"] + planned
    if terms.visit_cost is not None:
        for payer, share in _visit_shares(standing, terms, kept, size).items():
            sums[payer] += planned * terms.visit_cost * share[:, None]
    if all(t.payer == "shop" for t in terms.cells.values()):
        sums["contractor"][:] = np.nan  # nothing is stated of the contractor's money
    if all(not np.isfinite(t.failure_cost) for t in terms.cells.values()):
        for payer in {t.payer for t in terms.cells.values()}:
            sums[payer][:] = np.nan
    return Year(plan=plan.name, sums=sums, failure_money=failure_money, size=size)


def _each(terms: Terms, t: CellTerms) -> Array:
    """What a failure, planned change, defect found and look add to the measures: (4, n)."""
    look_cost = 0.0 if terms.visit_cost is not None else np.nan_to_num(t.look_cost)
    part = np.array([t.part_share, 1.0, 1.0, 0.0])
    hours = np.array([t.labour_hours] * 3 + [np.nan_to_num(t.look_hours)])
    money = np.nan_to_num([t.failure_cost, t.planned_cost, t.planned_cost, look_cost])
    rate = np.nan if terms.labour_rate is None else terms.labour_rate
    own = np.where(part > 0, part * t.purchase_cost, 0.0) + hours * rate
    failed = np.array([1.0, 0.0, 0.0, 0.0])
    found = {
        "failures": failed,
        "parts": part,
        "labour_hours": hours,
        "lost_days": np.array([t.lost_days, 0.0, 0.0, 0.0]),
        "contractor": np.zeros(4) if t.payer == "shop" else money,
        "shop": money if t.payer == "shop" else own,
        _FAILURE_MONEY: failed * np.nan_to_num(t.failure_cost),
    }
    return np.column_stack([found[name] for name in _SUMMED])


def _visit_shares(
    standing: Standing,
    terms: Terms,
    kept: list[tuple[StandingCell, Happenings]],
    size: Size,
) -> dict[str, Array]:
    """Part of each machine's planned visits that each payer bears: (n_machines,), sum 1.

    By the planned cost of what is changed in them under this plan; where a machine has no planned
    change, by the number of its parts: a visit is paid by whoever pays the work done in it.
    """
    payers = sorted({t.payer for t in terms.cells.values()})
    if len(payers) == 1:
        return {payers[0]: np.ones(standing.n_machines)}
    money = {p: np.zeros(standing.n_machines) for p in payers}
    parts = {p: np.zeros(standing.n_machines) for p in payers}
    for cell, all_of in kept:
        t = terms.cells[cell.key]
        np.add.at(parts[t.payer], cell.machine, 1.0)
        changed = np.isin(all_of.kind, (CHANGED, FOUND))
        each = np.bincount(all_of.part[changed], minlength=len(cell.machine)) / size.n
        np.add.at(money[t.payer], cell.machine, each * np.nan_to_num(t.planned_cost))
    total = sum(money.values())
    n_parts = sum(parts.values())
    return {
        p: np.where(
            total > 0,
            money[p] / np.where(total > 0, total, 1.0),
            parts[p] / np.maximum(n_parts, 1.0),
        )
        for p in payers
    }
