"""The practice fleet and its truth as tables: laws, lives, demand, machines, what was done."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.errors import SettingsError
from dutylife.practice.difficulties import with_difficulties
from dutylife.practice.fleet import (
    Machine,
    Span,
    announced_machines,
    arriving_machines,
    date_of,
    make_machines,
    span_of,
)
from dutylife.practice.laws import draw_laws, laws_table
from dutylife.practice.lives import MachineHistory
from dutylife.practice.scenario import Scenario, read_scenario
from dutylife.practice.visits import SERVICE, CounterSale, Visit, counter_sales, visit_returns

MOST_UNITS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PracticeFleet:
    """A simulated fleet and everything true of it.

    Parameters
    ----------
    laws : DataFrame
        component, duty, clock (hours or days), distribution, shape [1], scale [the row's clock];
        of a lognormal law 1 / sigma and exp(mu). `law_survival` reads a row. Parts of an early
        batch fail by another law: ``is_faulty`` in the lives.
    lives : DataFrame
        unit_id, component, life_number, installed_on, ended_on, age_hours, age_days, event
        (failed, replaced, running, lost), duty, is_comeback. Every life since the machine was
        new, cut at the as-of date; a life ended by poor work (comeback) counts as replaced.
        With duty changes, a life is one row in each duty (event moved at the end of all but its
        last) with entry_hours and entry_days, and its hazard there is the duty's from that age on.
        With mixed modes ``mode``, with an early batch ``is_faulty``.
    demand : DataFrame
        part_number, component, month (its first day), quantity: pieces that left the shelf,
        months of the future included.
    events : DataFrame
        unit_id, component, event_date, activity, reason, is_comeback, part_number: what the shop
        did within the record, before anything is typed.
    machines : list of Machine
        Also those that never came in; those announced for after the cut-off, or still to come, not.
    visits : list of Visit
        From the record's start on, the future's included, by day.
    sales : list of CounterSale
    announced : list of Machine
        New the day after the record's last one; their visits are among the visits.
    coming : list of Machine
        Those of ``[arrivals]`` that start work after the record's last day, known to nobody then;
        their visits are among the visits.
    scenario : Scenario
        With the strengths of the difficulties put into its rates.
    span : Span
    seed : int
    n_units : int
        Machines asked for; those that keep coming are on top.
    """

    laws: pd.DataFrame
    lives: pd.DataFrame
    demand: pd.DataFrame
    events: pd.DataFrame
    machines: list[Machine]
    visits: list[Visit]
    sales: list[CounterSale]
    announced: list[Machine]
    coming: list[Machine]
    scenario: Scenario
    span: Span
    seed: int
    n_units: int


def simulate_fleet(
    *,
    n_units: int = 120,
    n_years: float = 4,
    seed: int = 7,
    settings_file: Path | None = None,
    difficulties: Mapping[str, float] | None = None,
    laws_from: str = "",
) -> PracticeFleet:
    """Simulate a fleet with known life laws; nothing is written.

    Parameters
    ----------
    n_units : int
        Machines on the list, 1 to 20 000. [1]
    n_years : float
        Length of the record, which ends at the scenario's as-of date. [years of 365.25 d]
    seed : int
        Every machine has its own streams: a larger fleet keeps the lives of the first machines.
    settings_file : Path, optional
        TOML with keys of practice/scenario.toml to put over the shipped ones.
    difficulties : mapping of str to float, optional
        Strength by name of `DIFFICULTIES`, 0 to 1; one that is missing keeps the scenario's. [1]
    laws_from : str
        "scenario", or "prior" to draw every law from the stated prior (`laws.draw_laws`); blank
        is as the scenario's ``laws`` says.

    Returns
    -------
    PracticeFleet

    Raises
    ------
    SettingsError
        A number is out of range, a difficulty is not known, or the settings file can't be used.

    Examples
    --------
    >>> fleet = simulate_fleet(n_units=3, n_years=1, seed=1)
    >>> [machine.unit_id[:2] in ("TP", "LT", "TA", "SP", "HM") for machine in fleet.machines]
    [True, True, True]
    """
    faults = []
    if not 1 <= n_units <= MOST_UNITS:
        faults.append(f"n_units = {n_units} is not in 1 to {MOST_UNITS}")
    if not 0 < n_years <= 50:
        faults.append(f"n_years = {n_years} is not above 0 and at most 50")
    if seed < 0:
        faults.append(f"seed = {seed} is below 0")
    if laws_from not in ("", "scenario", "prior"):
        faults.append(f"laws_from = '{laws_from}' is neither 'scenario' nor 'prior'")
    if faults:
        raise SettingsError(
            "The practice fleet can't be made so.", "; ".join(faults), "give numbers in range"
        )
    scenario = with_difficulties(read_scenario(settings_file), difficulties)
    if laws_from == "prior" or (not laws_from and scenario.laws == "drawn"):
        scenario = draw_laws(scenario, seed)
    span = span_of(scenario, n_years)
    machines = make_machines(scenario, span, n_units, seed)
    arriving = arriving_machines(scenario, span, n_units, seed)
    machines += [m for m in arriving if m.in_service < span.end]
    coming = [m for m in arriving if m.in_service >= span.end]
    announced = announced_machines(scenario, span, n_units, seed)
    visits: list[Visit] = []
    cut: list[dict[str, object]] = []
    for machine in [*machines, *announced, *coming]:
        if machine.is_customer_here:
            history = MachineHistory(scenario, span, machine, seed)
            history.run()
            cut += _cut_lives(history, span)
            visits += [v for v in history.visits if v.day >= span.start]
    visits.sort(key=lambda v: (v.day, v.machine.index))
    sales = counter_sales(scenario, span, n_units, seed)
    sales += visit_returns(scenario, span, visits, seed)
    sales.sort(key=lambda sale: sale.day)
    return PracticeFleet(
        laws=laws_table(scenario),
        lives=pd.DataFrame(cut, columns=_lives_columns(scenario)),
        demand=_demand(scenario, span, visits, sales),
        events=_events(scenario, span, visits),
        machines=machines,
        visits=visits,
        sales=sales,
        announced=announced,
        coming=coming,
        scenario=scenario,
        span=span,
        seed=seed,
        n_units=n_units,
    )


LIVES_COLUMNS = [
    "unit_id", "component", "life_number", "installed_on", "ended_on", "age_hours", "age_days",
    "event", "duty", "is_comeback",
]  # fmt: skip
EVENTS_COLUMNS = [
    "unit_id", "component", "event_date", "activity", "reason", "is_comeback", "part_number",
]  # fmt: skip


def _lives_columns(scenario: Scenario) -> list[str]:
    return [
        *LIVES_COLUMNS,
        *(["entry_hours", "entry_days"] if scenario.record.moves_per_year > 0 else []),
        *(["mode"] if scenario.second_mode.strength > 0 else []),
        *(["is_faulty"] if scenario.early_batch.share > 0 else []),
    ]


def _cut_lives(history: MachineHistory, span: Span) -> list[dict[str, object]]:
    """Lives begun within the record's end; what goes on after it is running."""
    rows: list[dict[str, object]] = []
    meter_at_end: float | None = None
    for life in history.lives:
        if life.entered >= span.end:
            continue
        ended, meter, event, is_comeback = (
            life.ended, life.ended_meter, life.event, life.is_comeback
        )  # fmt: skip
        if ended >= span.end:
            if meter_at_end is None:
                meter_at_end = history.meter_at(span.end)
            ended, meter, event, is_comeback = span.end, meter_at_end, "running", False
        last = ended - 1.0 if ended == span.end else ended
        rows.append(
            {
                "unit_id": life.machine.unit_id,
                "component": life.component,
                "life_number": life.number,
                "installed_on": np.datetime64(date_of(life.installed), "ns"),
                "ended_on": np.datetime64(date_of(last), "ns"),
                "age_hours": meter - life.installed_meter,
                "age_days": ended - life.installed,
                "event": event,
                "duty": life.duty,
                "is_comeback": is_comeback,
                "entry_hours": life.entered_meter - life.installed_meter,
                "entry_days": life.entered - life.installed,
                "mode": life.mode if event == "failed" else "",
                "is_faulty": life.is_faulty,
            }
        )
    return rows


def oil_of(scenario: Scenario, visit: Visit) -> str:
    """Part number of the oil a service uses, blank when it uses none."""
    return scenario.engines[visit.machine.engine].oil_part if visit.kind == SERVICE else ""


def _demand(
    scenario: Scenario, span: Span, visits: Sequence[Visit], sales: Sequence[CounterSale]
) -> pd.DataFrame:
    """Pieces that left the shelf by part and month; months without any are rows of 0."""
    moves: list[tuple[str, str, float, int]] = [
        (sale.part_number, sale.component, sale.day, sale.quantity) for sale in sales
    ]
    for visit in visits:
        oil = oil_of(scenario, visit)
        if oil:
            moves.append((oil, scenario.other_parts[oil].component, visit.day, 1))
        for work in visit.works:
            if work.activity == "replace":
                number = scenario.part_number(work.component, visit.machine.equipment_class)
                quantity = scenario.components[work.component].quantity
                moves.append((number, work.component, visit.day, quantity))
    parts = {
        number: name
        for name, law in scenario.components.items()
        for number in law.part_numbers.values()
    } | {number: part.component for number, part in scenario.other_parts.items()}
    months = pd.period_range(date_of(span.start), date_of(span.until - 1.0), freq="M")
    counts = pd.DataFrame(0, index=sorted(parts), columns=months)
    if moves:
        frame = pd.DataFrame(moves, columns=["part_number", "component", "day", "quantity"])
        dates = pd.to_datetime(np.floor(frame["day"]), unit="D", origin="unix")
        frame["month"] = dates.dt.to_period("M")
        moved = frame.pivot_table(
            index="part_number", columns="month", values="quantity", aggfunc="sum", fill_value=0
        )
        counts = counts.add(moved, fill_value=0).reindex(index=sorted(parts), columns=months)
    counts = counts.rename_axis(index="part_number", columns="month").reset_index()
    long = counts.melt(id_vars="part_number", var_name="month", value_name="quantity")
    long = long.sort_values(["part_number", "month"], ignore_index=True)
    long["component"] = long["part_number"].map(parts)
    long["month"] = pd.PeriodIndex(long["month"], freq="M").to_timestamp()
    long["quantity"] = long["quantity"].astype("int64")
    return long[["part_number", "component", "month", "quantity"]]


def _events(scenario: Scenario, span: Span, visits: Sequence[Visit]) -> pd.DataFrame:
    rows = [
        {
            "unit_id": visit.machine.unit_id,
            "component": work.component,
            "event_date": np.datetime64(date_of(visit.day), "ns"),
            "activity": work.activity,
            "reason": work.reason,
            "is_comeback": work.is_comeback,
            "part_number": scenario.part_number(work.component, visit.machine.equipment_class),
        }
        for visit in visits
        if visit.day < span.end
        for work in visit.works
    ]
    return pd.DataFrame(rows, columns=EVENTS_COLUMNS)
