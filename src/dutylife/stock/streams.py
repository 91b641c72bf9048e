"""Lives in service, laws and a plan to the law of each part's demand in each span."""

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.cells import law_draws
from dutylife.spread import Compute, spread
from dutylife.stock.calendar import UseClock
from dutylife.stock.comings import Contract, Flow, days_per_unit
from dutylife.stock.count_table import CountTable
from dutylife.stock.demand import Span, lattice_spans
from dutylife.stock.gathered import under_plan
from dutylife.stock.lattice import CATCH_UP_DAYS, RenewalLaw, Spans
from dutylife.stock.part_law import Batch, SpanLaw
from dutylife.stock.parts import OtherUse
from dutylife.stock.planned_visits import VisitUse, done_together
from dutylife.stock.plans import PlannedAge, planned_age_days
from dutylife.stock.positions import (
    CellChances,
    Draws,
    Positions,
    few_draws,
    planned_starts,
    stacked,
    together,
)
from dutylife.stock.stream_terms import (
    N_STARTS,
    Laws,
    add_comings,
    add_lines,
    add_span,
    add_sums,
    add_visits,
)

Array = npt.NDArray[np.float64]
IN_SERVICE = 0.05
SURE_COUNT = 200  # planned replacements from which on their rate counts as known
NO_PLAN = [(0.0, 1.0)]  # rate of planned replacements and its weight
ONE_PROCESS = Compute()
NO_RATE = ("none", "recommended")  # of others what is not named goes on as it was
MANY_POSITIONS = 400  # of a cell, from where on they are summed without going one by one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inputs:
    """What the demand of the fleet follows from, whichever the plan.

    ``lives`` are those in service with their ``part``, sorted; ``rates`` as of `seen_rates`;
    ``done``: share of due planned replacements that are done; ``plan_starts_days``: whole days
    that go on as seen before the plan starts; ``use_clock`` where duties run by the season.
    ``beside``: as ``rates``, of what is replaced beside the plan in force; ``together_days``: what
    falls due so soon after other planned work is done with it; ``visit_use`` by part number, of
    visits that the record has not.
    """

    lives: pd.DataFrame
    life_draws: pd.DataFrame
    rates: dict[tuple[str, str], Array]
    shares: dict[tuple[str, bool], float]
    pieces: dict[str, float]
    other: dict[str, OtherUse]
    spans: list[Span]
    flow: Flow
    contracts: list[Contract]
    done: float
    plan_starts_days: int = 0
    use_clock: UseClock | None = None
    beside: dict[tuple[str, str], Array] = field(default_factory=dict)
    together_days: float = 0.0
    visit_use: dict[str, VisitUse] = field(default_factory=dict)


def told_cells(life_draws: pd.DataFrame) -> set[tuple[str, str]]:
    """Return the cells whose law stands on the record, not only on the stated prior."""
    basis = life_draws[["component", "duty", "basis"]].astype(object).drop_duplicates()
    basis = basis[basis["basis"] != "starting value"]
    return set(basis[["component", "duty"]].itertuples(index=False, name=None))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Common:
    """What every cell's demand needs: the inputs without their lives and draws, and the plan."""

    inputs: Inputs
    plan: str
    fitted: dict[tuple[str, str, str], float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cell:
    """One cell: its lives in service, draws of its law, planned age, days each comes early."""

    key: tuple[str, str]
    lives: pd.DataFrame
    draws: pd.DataFrame
    planned: PlannedAge | None
    sooner: Array


def part_laws(
    inputs: Inputs,
    plan: str,
    ages: dict[tuple[str, str], PlannedAge],
    compute: Compute = ONE_PROCESS,
) -> dict[str, Laws]:
    """Law of each part's demand in each span under a plan.

    Parameters
    ----------
    inputs : Inputs
    plan : str
    ages : dict of (component, duty) to PlannedAge
    compute : Compute
        Where the cells are computed; the laws are the same wherever.

    Notes
    -----
    Each draw of a cell's law holds for all its positions, so what is not known of the law widens
    the demand of all of them together; draws of different cells are independent. Machines are in
    service with their probability and leave at the fleet's rate.
    """
    out: dict[str, Laws] = {}
    draws = law_draws(inputs.life_draws)
    sooner, share = done_together(inputs.lives, ages, inputs.together_days)
    early = pd.Series(sooner, index=inputs.lives.index)
    cells = []
    for (component, duty), lives in inputs.lives.groupby(["component", "duty"], sort=True):
        key = (str(component), str(duty))
        if key in draws:
            at = np.asarray(early[lives.index], dtype=float)
            cells.append(
                _Cell(key=key, lives=lives, draws=draws[key], planned=ages.get(key), sooner=at)
            )
    bare = replace(inputs, lives=inputs.lives.iloc[:0], life_draws=inputs.life_draws.iloc[:0])
    common = _Common(inputs=bare, plan=plan, fitted=_fitted(inputs))
    planned: dict[tuple[int, int], float] = {}
    for of_parts, by_age in spread(_cell_laws, common, cells, compute):
        for number, laws in of_parts.items():
            into = out.setdefault(number, {})
            for span, law in laws.items():
                into.setdefault(span, SpanLaw()).add(law)
        for span, n in by_age.items():
            planned[span] = planned.get(span, 0.0) + n
    for number, use in sorted(inputs.other.items()):
        add_lines(out.setdefault(number, {}), inputs.spans, use)
    visits = {span: n * share for span, n in planned.items()}
    for number, of_visit in sorted(inputs.visit_use.items()):
        if number in out:
            add_visits(out[number], of_visit, visits)
    return out


def _cell_laws(
    common: _Common, cell: _Cell
) -> tuple[dict[str, Laws], dict[tuple[int, int], float]]:
    """Laws of a cell by part, and replacements at the plan's ages, by span."""
    inputs, plan, fitted = common.inputs, common.plan, common.fitted
    key, lives, planned = cell.key, cell.lives, cell.planned
    sooner, frame = cell.sooner, cell.draws
    out: dict[str, Laws] = {}
    component, duty = key
    draws, on_meter = _draws(frame)
    use = lives["use"].to_numpy(dtype=float)
    per_unit = 7 / use if on_meter else np.ones(len(lives))
    age = (lives["age_hours"] * per_unit if on_meter else lives["age_days"]).to_numpy(dtype=float)
    seen = lives["seen_days"].fillna(lives["age_days"]).fillna(0.0).to_numpy(dtype=float)
    is_known = np.isfinite(age)
    positions = Positions(
        # what is done early with other work counts as that much older
        age=np.where(is_known, age + sooner, seen), is_known=is_known, days_per_unit=per_unit,
        planned_age=planned_age_days(planned, use),
    )  # fmt: skip
    usual = float(np.median(per_unit))
    ahead = [c for c in inputs.contracts if c.duty == duty]
    units = [usual, *(days_per_unit(c.use if on_meter else None, usual) for c in ahead)]
    shortest = float(draws.scale.min() * min(per_unit.min(), *units))
    clock = inputs.use_clock if on_meter else None
    passed = None if clock is None or not clock.has(duty) else partial(clock.passed, duty)
    spans, place = lattice_spans(inputs.spans, shortest, passed)
    days_ahead = float(max(end for _, end in place))
    law = RenewalLaw(
        shape=np.ones(1), scale=np.ones(1), planned_rate=np.zeros(1),
        planned_age=np.full(1, np.inf), done=inputs.done,
        leaving_rate=inputs.flow.leaving_rate,
        takes_failed=inputs.shares.get((component, False), 1.0),
        takes_planned=inputs.shares.get((component, True), 1.0),
        catch_up_days=CATCH_UP_DAYS if passed is None else float(passed(CATCH_UP_DAYS)[0]),
    )  # fmt: skip
    present = lives["prob_in_service"].to_numpy(dtype=float)
    number = lives["part"].astype(str).to_numpy()
    coming = inputs.flow.coming_rate > 0 or bool(ahead)
    machines = {str(name): float(present[number == name].sum()) for name in np.unique(number)}
    by_age = has_ages = bool(np.isfinite(positions.planned_age).any())
    before = _rates(inputs.rates, key)
    later = NO_PLAN if plan in NO_RATE else before
    if by_age and plan not in NO_RATE:
        later = _rates(inputs.beside, key)
    waits = float(inputs.plan_starts_days) if by_age or before != later else 0.0
    if passed is not None:
        waits = float(passed(waits)[0])
        ahead = [replace(c, start_days=float(passed(c.start_days)[0])) for c in ahead]
    if waits >= spans.n_steps * spans.step_days:  # the plan starts beyond the last span
        by_age, later, waits = False, before, 0.0
    if waits > 0 or by_age:
        some = few_draws(draws)
        rate = _mean(before), _mean(later)
        if waits <= 0:
            law = replace(law, planned_rate=np.array([_mean(later)]))
        chances, present, number = under_plan(
            law, positions, some, spans, waits, rate, present, number
        )
        starts = None
        if coming:
            uses = np.array([float(np.median(use)), *(c.use or np.median(use) for c in ahead)])
            due = planned_age_days(planned, uses)
            beside = replace(law, planned_rate=np.array([_mean(later)]))
            new = planned_starts(beside, some, spans, np.array(units), due,
                                    _start_steps(spans, ahead), N_STARTS)  # fmt: skip
            chances, new = together([chances, new])
            starts = new.chances
    else:
        chances, starts = _by_table(
            law, later, positions, draws, spans, units, ahead, coming, number, present
        )
    by_age_of: dict[tuple[int, int], float] = {}
    there = float(lives["prob_in_service"].sum())
    for name in np.unique(number):
        mine = number == name
        batch = Batch.of(inputs.pieces.get(str(name), 1.0))
        laws = out.setdefault(str(name), {})
        per_class = [
            c.n_machines * fitted.get((c.equipment_class, component, str(name)), 0.0) for c in ahead
        ]
        new_a_day = inputs.flow.coming_rate * machines[str(name)]
        for span_key, i in place.items():
            law_here = laws.setdefault(span_key, SpanLaw())
            if chances.sums:
                add_sums(law_here, chances, i, str(name), batch)
            else:
                add_span(law_here, chances, i, mine, present[mine], batch)
            if starts is not None:
                add_comings(
                    laws[span_key], starts, chances, i, new_a_day * days_ahead,
                    per_class, batch,
                )  # fmt: skip
            if has_ages and law.takes_planned > 0:
                n_planned = law_here.mean_planned / batch.mean / law.takes_planned
                by_age_of[span_key] = by_age_of.get(span_key, 0.0) + n_planned
    # what is replaced whatever the age is done at the visits the record has
    return out, {
        span: max(n - _mean(later) * there * (span[1] - span[0]), 0.0)
        for span, n in by_age_of.items()
    }


def _by_table(
    law: RenewalLaw, rates: list[tuple[float, float]], positions: Positions, draws: Draws,
    spans: Spans, units: list[float], ahead: list[Contract], coming: bool,
    number: npt.NDArray[np.object_], present: Array,
) -> tuple[CellChances, Array | None]:  # fmt: skip
    """Chances by table, for each rate of planned replacements; rates are further draws."""
    scale = draws.scale[:, None] * np.append(positions.days_per_unit, units if coming else [])
    lives = positions.age / (draws.scale.min() * positions.days_per_unit)
    known = positions.is_known
    steps = _start_steps(spans, ahead) if coming else None
    tables = [
        CountTable(
            replace(law, planned_rate=np.array([rate])), spans,
            (float(draws.shape.min()), float(draws.shape.max())),
            (float(scale.min()), float(scale.max())),
            known_lives=float(lives[known].max()) if known.any() else 0.0,
            watched_lives=float(lives[~known].max()) if not known.all() else None, starts=steps,
        )
        for rate, _ in rates
    ]  # fmt: skip
    found, new = [], []
    for table, (_, share) in zip(tables, rates, strict=True):
        weight = draws.weight * share
        many = len(known) > MANY_POSITIONS
        both = np.zeros((len(draws.shape), 0 if many else len(known), table.width))
        sums = {}
        if many:
            sums = {
                str(name): _sums(table, positions, present, draws, number == name)
                for name in np.unique(number)
            }
        else:
            for is_known in (True, False):
                mask = known == is_known
                if mask.any():
                    both[:, mask] = table.at(positions.part(mask), draws, is_known=is_known)
        found.append(CellChances(chances=both, columns=table.columns, weight=weight, sums=sums))
        if coming:
            some = [table.at_start(units[0], draws)[:, :N_STARTS]]
            some += [
                table.at_start(u, draws)[:, N_STARTS + i : N_STARTS + i + 1]
                for i, u in enumerate(units[1:])
            ]
            new.append(
                CellChances(chances=np.concatenate(some, axis=1), columns=table.columns,
                            weight=weight)
            )  # fmt: skip
    every = together(found + new)
    chances = stacked(every[: len(found)])
    return chances, stacked(every[len(found) :]).chances if coming else None


def _sums(
    table: CountTable, positions: Positions, present: Array, draws: Draws,
    mine: npt.NDArray[np.bool_],
) -> tuple[Array, Array]:  # fmt: skip
    factorial: Array | float = 0.0
    means: Array | float = 0.0
    for is_known in (True, False):
        mask = mine & (positions.is_known == is_known)
        if mask.any():
            own, mean = table.sums(positions.part(mask), present[mask], draws, is_known=is_known)
            factorial, means = factorial + own, means + mean
    return np.asarray(factorial), np.asarray(means)


def _start_steps(spans: Spans, ahead: list[Contract]) -> npt.NDArray[np.int64]:
    """Steps after which new machines come: evenly over the spans, then those announced."""
    n = spans.n_steps
    even = (np.arange(N_STARTS) + 0.5) / N_STARTS * n
    own = [c.start_days / spans.step_days for c in ahead]
    return np.minimum(np.round([*even, *own]), n).astype(np.int64)


def _draws(frame: pd.DataFrame) -> tuple[Draws, bool]:
    weight = frame["weight"].to_numpy(dtype=float)
    draws = Draws(
        shape=frame["shape"].to_numpy(dtype=float), scale=frame["scale"].to_numpy(dtype=float),
        weight=weight / weight.sum(),
    )  # fmt: skip
    return draws, bool(frame["clock"].iloc[0] == "hours")


def _rates(seen: dict[tuple[str, str], Array], key: tuple[str, str]) -> list[tuple[float, float]]:
    """Rates of planned replacements a day with their weights: two points of the gamma law."""
    n, days = seen.get(key, np.zeros(2))
    if n <= 0 or days <= 0:
        return NO_PLAN
    rate = float(n / days)
    if n >= SURE_COUNT:
        return [(rate, 1.0)]
    apart = 1 / np.sqrt(max(n, 1.0))
    return [(rate * (1 - apart), 0.5), (rate * (1 + apart), 0.5)]


def _mean(rates: list[tuple[float, float]]) -> float:
    return sum(rate * weight for rate, weight in rates)


def _fitted(inputs: Inputs) -> dict[tuple[str, str, str], float]:
    """Positions that take a part, per machine of a class: (class, component, part)."""
    lives = inputs.lives[["equipment_class", "component", "part", "unit_id"]].astype(str)
    machines = lives.groupby("equipment_class")["unit_id"].nunique()
    counts = lives.groupby(["equipment_class", "component", "part"]).size()
    table = counts.rename("n").reset_index()
    return {
        (str(r["equipment_class"]), str(r["component"]), str(r["part"])): float(r["n"])
        / float(machines[r["equipment_class"]])
        for r in table.to_dict("records")
    }
