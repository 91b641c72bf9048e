"""What the demand of the fleet follows from, gathered once: lives, other use, who comes."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.decisions.billed import event_lines
from dutylife.decisions.current import current_lives
from dutylife.decisions.usage import unit_use
from dutylife.errors import DecisionError
from dutylife.lives.clocks.season import Season
from dutylife.settings import Settings
from dutylife.stock import parts
from dutylife.stock.calendar import UseClock
from dutylife.stock.comings import Contract, Flow, contracts_ahead, flow_of
from dutylife.stock.demand import Span
from dutylife.stock.gathered import MANY_PLANNED
from dutylife.stock.planned_visits import use_of_visits
from dutylife.stock.plans import (
    NO_AGES,
    PlannedAge,
    days_until_plan,
    plan_record,
    planned_ages,
    rates_beside,
    seen_rates,
    stated_ages,
)
from dutylife.stock.stream_terms import Laws
from dutylife.stock.streams import IN_SERVICE, Inputs, part_laws, told_cells


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FleetDemand:
    """Lives in service and streams beside them, ready for laws of demand under any plan.

    ``replaced`` as of `replacements_seen`, ``current`` as of `current_numbers`; ``numbers`` are
    all parts that have a law, sorted.
    """

    inputs: Inputs
    replaced: pd.DataFrame
    current: dict[str, str]
    numbers: list[str]
    intervals: pd.DataFrame
    stated_plan: pd.DataFrame | None
    known: dict[str, Component]
    settings: Settings

    def gathered(self, plan: str) -> list[str]:
        """Components and duties whose many parts in service are told on a grid under a plan."""
        n_lives = self.inputs.lives.groupby(["component", "duty"], observed=True).size()
        ages = self._ages(plan)
        many = n_lives.index[n_lives > MANY_PLANNED]
        return [f"{component} ({duty})" for component, duty in many if (component, duty) in ages]

    def _ages(self, plan: str) -> dict[tuple[str, str], PlannedAge]:
        lives = self.inputs.lives[["component", "duty"]]
        cells = sorted(set(lives.itertuples(index=False, name=None)))
        return planned_ages(plan, cells, self.intervals, self.known, self.settings,
                            self.stated_plan)  # fmt: skip

    def laws(self, plan: str, spans: list[Span]) -> dict[str, Laws]:
        """Law of each part's demand in each span under a plan, by part number."""
        ages = self._ages(plan)
        return part_laws(replace(self.inputs, spans=spans), plan, ages, self.settings.compute)


def fleet_demand(
    failure_events: pd.DataFrame,
    life_draws: pd.DataFrame,
    intervals: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    catalogue: pd.DataFrame,
    settings: Settings,
    *,
    contracts: pd.DataFrame | None = None,
    on_shelf: tuple[str, ...] = (),
    stated_plan: pd.DataFrame | None = None,
    use_seasons: pd.DataFrame | None = None,
    flow: Flow | None = None,
) -> FleetDemand:
    """Gather what the demand of every part follows from.

    Parameters
    ----------
    failure_events, life_draws, intervals, units, unit_spans : DataFrame
        The tables of those names.
    service_lines, maintenance_events, catalogue : DataFrame
        The tables of those names.
    settings : Settings
        ``fleet.as_of`` filled.
    contracts : DataFrame, optional
        Table "contracts".
    on_shelf : tuple of str
        Part numbers that have a law even where nothing was ever asked for.
    stated_plan : DataFrame, optional
        Table "stated_plan", where the plan in force is a file.
    use_seasons : DataFrame, optional
        Table "use_seasons".
    flow : Flow, optional
        How machines come and go; as the record tells it when not given.

    Returns
    -------
    FleetDemand

    Raises
    ------
    DecisionError
        ``fleet.as_of`` is not filled.
    """
    if settings.fleet.as_of is None:
        raise DecisionError("Stock needs a day to start from.", "fleet.as_of", "fill it")
    as_of = pd.Timestamp(settings.fleet.as_of)
    known = components_of(settings)
    current = parts.current_numbers(catalogue)
    replaced = parts.replacements_seen(maintenance_events, current)
    lives = _lives(failure_events, life_draws, units, unit_spans, replaced, as_of, settings)
    explained = _explained_lines(replaced, failure_events, lives, service_lines, current)
    other = parts.other_use(service_lines, explained, current, as_of)
    months = next(iter(other.values())).months if other else parts.OTHER_MONTHS
    for number in on_shelf:
        other.setdefault(number, parts.OtherUse(n_lines=0.0, months=months, sizes=np.empty(0)))
    record = plan_record(failure_events, known, settings, stated_plan)
    inputs = Inputs(
        lives=lives,
        life_draws=life_draws,
        rates=seen_rates(failure_events, units),
        shares=parts.share_using_part(maintenance_events, known),
        pieces=parts.pieces_each(replaced),
        other=other,
        spans=[],
        flow=flow_of(units, as_of) if flow is None else flow,
        contracts=announced(contracts, lives, as_of),
        done=record.done,
        plan_starts_days=days_until_plan(settings, as_of),
        beside=rates_beside(
            failure_events, stated_ages(lives, known, settings, stated_plan), record
        ),
        together_days=settings.plan.together_days,
        visit_use=use_of_visits(
            service_lines, maintenance_events, explained, current, months, as_of
        )
        if record.is_new or settings.plan.in_force in NO_AGES
        else {},
        use_clock=None
        if use_seasons is None or use_seasons.empty
        else UseClock(first=as_of + pd.Timedelta(days=1), season=Season.of_table(use_seasons)),
    )
    return FleetDemand(
        inputs=inputs, replaced=replaced, current=current,
        numbers=sorted(set(other) | set(lives["part"])), intervals=intervals, known=known,
        settings=settings, stated_plan=stated_plan,
    )  # fmt: skip


def announced(
    contracts: pd.DataFrame | None, lives: pd.DataFrame, as_of: pd.Timestamp
) -> list[Contract]:
    """Contracts to come, each in a duty that has machines."""
    if contracts is None or contracts.empty:
        return []
    machines = lives.drop_duplicates("unit_id").groupby(["equipment_class", "duty"]).size()
    rows = machines.rename("n").reset_index().to_dict("records")
    out = []
    for contract in contracts_ahead(contracts, as_of):
        of_class = {
            str(r["duty"]): int(r["n"])
            for r in rows
            if r["equipment_class"] == contract.equipment_class
        }
        duty = contract.duty
        if duty not in set(lives["duty"]) and of_class:
            duty = max(sorted(of_class), key=lambda d: of_class[d])
        out.append(replace(contract, duty=duty))
    return out


def _lives(
    failure_events: pd.DataFrame,
    life_draws: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    replaced: pd.DataFrame,
    as_of: pd.Timestamp,
    settings: Settings,
) -> pd.DataFrame:
    """Lives in service whose law stands on the record and whose next part has a number."""
    use = unit_use(units, unit_spans, settings)
    if use.notna().any():  # a machine of unknown use runs like the fleet's usual one
        use = use.fillna(use.median())
    lives = current_lives(failure_events, units, use, as_of)
    lives = lives[lives["prob_in_service"] > IN_SERVICE]
    lives = lives.assign(part=parts.next_part(lives, replaced))
    clocks = (
        life_draws[["component", "duty", "clock"]]
        .astype(object)
        .drop_duplicates(["component", "duty"])
    )
    lives = lives.merge(clocks, on=["component", "duty"], how="left")
    cells = told_cells(life_draws)
    told = [pair in cells for pair in zip(lives["component"], lives["duty"], strict=True)]
    can_tell = (lives["clock"] != "hours") | lives["use"].notna()
    keep = pd.Series(told, index=lives.index, dtype=bool) & can_tell & lives["part"].notna()
    return lives[keep].sort_values(["component", "duty", "unit_id", "position"], kind="stable")


def _explained_lines(
    replaced: pd.DataFrame, failure_events: pd.DataFrame, lives: pd.DataFrame,
    service_lines: pd.DataFrame, current: dict[str, str],
) -> set[str]:  # fmt: skip
    """line_id of the part lines that lives in service stand for; comebacks are not lives.

    Of the lines of an event those of its own part: what else was sold with it is not its demand.
    """
    cells = lives[["component", "duty"]].drop_duplicates()
    past = failure_events[["unit_id", "component", "duty"]].astype(object)
    of_cells = past.merge(cells, on=["component", "duty"])
    pairs = set(of_cells[["unit_id", "component"]].itertuples(index=False, name=None))
    own = [p in pairs for p in zip(replaced["unit_id"], replaced["component"], strict=True)]
    events = replaced[pd.Series(own, index=replaced.index, dtype=bool) & ~replaced["is_comeback"]]
    events = events.assign(row=range(len(events)))
    of_event = event_lines(events)
    number = service_lines[["line_id", "part_number"]].astype(object).set_index("line_id")
    sold = of_event["line_id"].map(number["part_number"]).map(lambda p: current.get(p, p))
    fitted = of_event["row"].map(events.set_index("row")["part_number"])
    return set(of_event["line_id"][fitted.isna() | sold.isna() | (sold == fitted)])
