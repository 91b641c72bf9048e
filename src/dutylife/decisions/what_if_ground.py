"""What a what-if starts from: the fleet as it stands, its costs, the plan, and a year of it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.age_advice import replacement_advice
from dutylife.decisions.cells import cells_of
from dutylife.decisions.comparison.compare import notes_of
from dutylife.decisions.comparison.policies import Plan, Policy, Spacing, recommended
from dutylife.decisions.comparison.renewals import Away
from dutylife.decisions.comparison.standing import TABLES_READ, Standing, StandingCell, as_it_stands
from dutylife.decisions.comparison.terms import CellTerms, Terms, terms_of
from dutylife.decisions.comparison.year import Size, Year, years_of
from dutylife.decisions.steps import steps_of
from dutylife.decisions.usage import duty_use
from dutylife.errors import DecisionError
from dutylife.provenance import Run
from dutylife.settings import Settings, settings_from

_PAIRS = 400_000  # part-years a what-if simulates: well under a second
_MOST_GROUPS = 64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Fleet, terms and plan; ``longest`` life seen by cell, on its law's clock.

    ``away`` is None for machines that can come in on any day; ``cost_a_year`` is what a change
    itself costs.
    """

    standing: Standing
    terms: Terms
    plan: Plan
    longest: Mapping[tuple[str, str], float]
    settings: Settings
    away: Away | None = None
    cost_a_year: float = 0.0
    before: Year | None = None

    def cells(self, component: str = "", duty: str = "") -> list[StandingCell]:
        """Cells of a component and duty; blank: of all."""
        return [
            c for c in self.standing.cells
            if component in ("", c.component.name) and duty in ("", c.duty)
        ]  # fmt: skip


def what_if_ground(
    run: Run | Mapping[str, pd.DataFrame], settings: Settings | None = None
) -> Ground:  # fmt: skip
    """Read a run once, so that many what-ifs can be asked of it.

    Parameters
    ----------
    run : Run, or mapping of str to DataFrame
        An opened run folder, or the tables of a run by name.
    settings : Settings, optional
        Needed with tables; a run folder holds its own.

    Raises
    ------
    DecisionError
        Tables without settings, a table that is missing, or no machine in service.
    """
    if isinstance(run, Run):
        settings = settings or settings_of_run(run)
        names = (*TABLES_READ, "life_models", "shelf", "service_lines")
        tables: Mapping[str, pd.DataFrame] = {n: run.table(n) for n in names}
    else:
        tables = run
    if settings is None:
        raise DecisionError(
            "Tables alone don't say costs and customers.", "what_if(tables, settings)",
            "give the run's settings as well, or an opened run",
        )  # fmt: skip
    standing = as_it_stands(tables, settings)
    ground = Ground(
        standing=standing,
        terms=terms_of(standing, tables, settings),
        plan=recommended(standing, tables["intervals"]),
        longest=_longest(tables, settings),
        settings=settings,
    )
    return replace(ground, before=year_of(ground))


def year_of(ground: Ground, size: Size | None = None) -> Year:
    """Simulate the coming year of a ground."""
    if size is None:
        n = _PAIRS / max(ground.standing.n_parts, 1)
        n_groups = int(np.clip(n // 2, 32, _MOST_GROUPS))
        size = Size(n_groups=n_groups, per_group=int(np.clip(n // n_groups, 2, 8)))
    (year,) = years_of(
        ground.standing, [ground.plan], ground.terms, seed=ground.settings.report.seed,
        size=size, away=ground.away,
    )  # fmt: skip
    return year


def ground_notes(ground: Ground) -> tuple[str, ...]:
    """What figures of a ground leave out or can't tell."""
    told = notes_of(ground.standing, ground.terms, ground.settings)
    return tuple(n for n in told if "[present_schedule]" not in n)


def with_cells(ground: Ground, cells: list[StandingCell]) -> Ground:
    """Put cells in the place of those of the same component and duty."""
    new = {c.key: c for c in cells}
    kept = tuple(new.get(c.key, c) for c in ground.standing.cells)
    return replace(ground, standing=replace(ground.standing, cells=kept))


def with_terms(ground: Ground, terms: Mapping[tuple[str, str], CellTerms]) -> Ground:
    """Put terms in the place of those of the same component and duty."""
    return replace(ground, terms=replace(ground.terms, cells={**ground.terms.cells, **terms}))


def with_policies(ground: Ground, policies: Mapping[tuple[str, str], Policy]) -> Ground:
    """Put policies in the place of those of the same component and duty."""
    plan = replace(ground.plan, policies={**ground.plan.policies, **policies})
    return replace(ground, plan=plan)


def weighed_anew(ground: Ground, cells: list[StandingCell]) -> Ground:
    """Choose the replacement ages of cells again, their costs or laws having changed.

    Only where cost and the record's law chose the age before. The maker's limit stays a ceiling,
    and what can hurt is never changed later than before.
    """
    found = {}
    for cell in cells:
        policy, terms = ground.plan.policies[cell.key], ground.terms.cells[cell.key]
        longest = ground.longest.get(cell.key, 0.0)
        if not policy.is_weighed or np.isnan(terms.failure_cost) or longest <= 0:
            continue
        best = None  # a failure that costs no more than the planned work is waited for
        if terms.failure_cost > terms.planned_cost:
            advice = replacement_advice(
                cell.shape, cell.scale, cell.weights, planned_cost=terms.planned_cost,
                failure_cost=terms.failure_cost, longest_seen=longest,
                steps=steps_of("hours" if cell.on_meter else "days", ground.settings),
                ceiling=longest if cell.component.can_hurt else math.inf,
            )  # fmt: skip
            best = advice.interval if advice.pays else None
        found[cell.key] = replace(policy, change_at=_allowed(cell, policy, best))
    return with_policies(ground, found)


def _allowed(cell: StandingCell, policy: Policy, age: float | None) -> Spacing | None:
    """An age under the maker's limit, and never later than before for what can hurt."""
    hours, days = (age, None) if cell.on_meter else (None, age)
    part, before = cell.component, policy.change_at
    ceilings = [Spacing(hours=part.maker_limit_hours, days=part.maker_limit_days)]
    if policy.is_safety and before is not None:
        ceilings.append(before)
    for ceiling in ceilings:
        hours, days = _least(hours, ceiling.hours), _least(days, ceiling.days)
    return None if hours is None and days is None else Spacing(hours=hours, days=days)


def _least(one: float | None, other: float | None) -> float | None:
    return min((v for v in (one, other) if v is not None), default=None)


def _longest(
    tables: Mapping[str, pd.DataFrame], settings: Settings
) -> dict[tuple[str, str], float]:  # fmt: skip
    if "life_models" not in tables:
        raise DecisionError(
            "A what-if needs a table that is not there.", "tables: life_models",
            "give all tables of a run, or the opened run itself",
        )  # fmt: skip
    cells = cells_of(
        tables["life_draws"], tables["life_models"], tables["failure_events"],
        components_of(settings), duty_use(tables["unit_spans"], settings), settings,
    )  # fmt: skip
    return {(c.component.name, c.duty): c.longest_age for c in cells if c.has_law}


def settings_of_run(run: Run) -> Settings:
    """Return the settings a run was made with, its last day filled."""
    info = run.info
    given = settings_from(info["settings"], folder=run.folder, source="the run's settings")
    fleet = given.fleet.model_copy(update={"as_of": pd.Timestamp(info["as_of"]).date()})
    return given.model_copy(update={"fleet": fleet})
