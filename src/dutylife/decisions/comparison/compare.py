"""The proposed plan beside today's practice, the present schedule and none: a year of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife import wording
from dutylife.decisions.comparison.policies import (
    NONE,
    PRESENT,
    RECOMMENDED,
    SEEN,
    Plan,
    plans_to_compare,
)
from dutylife.decisions.comparison.ranges import figure_of
from dutylife.decisions.comparison.standing import Standing, as_it_stands
from dutylife.decisions.comparison.terms import Terms, terms_of
from dutylife.decisions.comparison.year import Year, years_of
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.vocabulary import WORDS

Array = npt.NDArray[np.float64]
SAID = {
    RECOMMENDED: "the proposed plan",
    SEEN: "today's practice",
    PRESENT: "the present schedule",
    NONE: "waiting for failure",
}
COLUMNS = {
    "failures": "failures_per_year", "visits": "visits_per_year", "parts": "parts_per_year",
    "labour_hours": "labour_hours_per_year", "lost_days": "lost_days_per_year",
}  # fmt: skip
# what the proposed plan spares against each other plan
SPARED = {
    "failures": "failures_spared_per_year", "lost_days": "lost_days_spared_per_year",
    "money": "saving_per_year",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanComparison:
    """A year of each plan on the fleet as it stands.

    Parameters
    ----------
    table : DataFrame
        Table "plan_comparison": a row for each plan, payer and customer (blank: all of them).
    notes : tuple of str
        What is assumed, left out or not known.
    currency : str
    n_simulations : int
    confidence_level : float
    """

    table: pd.DataFrame
    notes: tuple[str, ...]
    currency: str
    n_simulations: int
    confidence_level: float

    @property
    def text(self) -> str:
        """One sentence."""
        return comparison_sentence(self.table, self.currency)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedPlans:
    """The fleet as it stands, its terms, and a year of each plan, the proposed one first."""

    standing: Standing
    terms: Terms
    plans: tuple[Plan, ...]
    years: tuple[Year, ...]


def simulate_plans(tables: Mapping[str, pd.DataFrame], settings: Settings) -> SimulatedPlans:
    """Simulate a year of each plan once, for all who ask; see `compare_plans`."""
    standing = as_it_stands(tables, settings)
    terms = terms_of(standing, tables, settings)
    plans = plans_to_compare(standing, tables, settings)
    years = years_of(standing, plans, terms, seed=settings.report.seed)
    return SimulatedPlans(standing=standing, terms=terms, plans=tuple(plans), years=tuple(years))


def compare_plans(
    tables: Mapping[str, pd.DataFrame],
    settings: Settings,
    *,
    simulated: SimulatedPlans | None = None,
) -> PlanComparison:
    """Simulate the coming year of the fleet under each plan.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of a run: intervals, costs, life_draws, failure_events, units, unit_spans,
        maintenance_events; where there, shelf and service_lines.
    settings : Settings
        ``fleet.as_of`` filled; ``[present_schedule]``, ``[costs]`` payer, ``[workshop]``.
    simulated : SimulatedPlans, optional
        From `simulate_plans` of the same tables and settings, where it is there already.

    Returns
    -------
    PlanComparison

    Raises
    ------
    DecisionError
        A table is missing, or no machine in service has a part whose life the record can tell.

    Notes
    -----
    Machines in service with their parts' ages, duties and use; laws drawn from ``life_draws``, so
    that what is not known of them is in the bounds. All plans meet the same luck (common random
    numbers), so that differences are known better than the figures themselves. Components that
    never failed in the record are left out of every plan.
    """
    of = simulated or simulate_plans(tables, settings)
    level = settings.report.confidence_level
    return PlanComparison(
        table=comparison_table(of.standing, of.years, level),
        notes=notes_of(of.standing, of.terms, settings),
        currency=settings.fleet.currency,
        n_simulations=of.years[0].size.n,
        confidence_level=level,
    )


def comparison_table(standing: Standing, years: Sequence[Year], level: float) -> pd.DataFrame:
    """Table "plan_comparison" of years under several plans, the first being the proposed one."""
    customers = np.array(standing.customer, dtype=object)
    groups = [("", np.arange(standing.n_machines))]
    groups += [(c, np.flatnonzero(customers == c)) for c in sorted(set(customers) - {""})]
    rows = []
    for customer, machines in groups:
        totals = [_over(y, None if customer == "" else machines) for y in years]
        for year, total in zip(years, totals, strict=True):
            for payer in WORDS["payer"]:
                row: dict[str, object] = {
                    "plan": year.plan, "payer": payer, "customer": customer,
                    "n_machines": len(machines),
                }  # fmt: skip
                for measure, name in COLUMNS.items():
                    row |= _three(name, total[measure], year, level)
                row |= _three("cost_per_year", total[payer], year, level)
                one = figure_of(total[payer], year.size, level)
                row |= {
                    "cost_one_year_lower": one.year_lower,
                    "cost_one_year_upper": one.year_upper,
                }
                if year is not years[0]:
                    for measure, name in SPARED.items():
                        of = payer if measure == "money" else measure
                        row |= _three(name, total[of] - totals[0][of], year, level)
                rows.append(row)
    return as_table("plan_comparison", pd.DataFrame(rows))


def _over(year: Year, machines: npt.NDArray[np.int64] | None) -> dict[str, Array]:
    """Sums over some machines, all where none are named, by measure; (n_simulations,)."""
    if machines is None:
        return {m: a.sum(axis=0, dtype=float) for m, a in year.sums.items()}
    return {m: a[machines].sum(axis=0, dtype=float) for m, a in year.sums.items()}


def _three(name: str, total: Array, year: Year, level: float) -> dict[str, float]:
    figure = figure_of(total, year.size, level)
    return {name: figure.value, f"{name}_lower": figure.lower, f"{name}_upper": figure.upper}


def notes_of(standing: Standing, terms: Terms, settings: Settings) -> tuple[str, ...]:
    """What the comparison leaves out, assumes or can't tell, each with what would mend it."""
    notes = []
    if not settings.present_schedule:
        notes.append("No present schedule is stated ([present_schedule]): it is not compared.")
    if standing.never_failed:
        notes.append(
            f"Left out of every plan, since it never failed in the record: "
            f"{_listed(standing.never_failed)}."
        )
    if standing.n_without_use:
        notes.append(
            f"{wording.count(standing.n_without_use, 'part')} left out: how much "
            "the machine runs is not known ([fleet] hours_per_week)."
        )
    if terms.no_money:
        notes.append(
            f"Not in the money, since no cost of it is known ([costs]): {_listed(terms.no_money)}."
        )
    if terms.no_purchase_cost:
        notes.append(
            "The shop's own money is blank: what the part costs the shop is not known "
            f'([stock."PART-NO"] unit_cost): {_listed(terms.no_purchase_cost)}.'
        )
    if terms.labour_rate is None:
        notes.append(
            "The shop's own money is blank: no rate of labour is stated ([workshop] labour_rate)."
        )
    if terms.no_labour:
        notes.append(
            "Labour hours are blank: none are stated ([costs] labour_hours) for "
            f"{_listed(terms.no_labour)}."
        )
    if terms.no_lost_days:
        notes.append(
            "Lost days are blank: none are stated ([costs] lost_days_per_failure) for "
            f"{_listed(terms.no_lost_days)}."
        )
    notes += [f"{n[0].upper()}{n[1:]}." for n in terms.notes]
    return tuple(notes)


def _listed(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def comparison_sentence(table: pd.DataFrame, currency: str, reader: str = "") -> str:
    """Say what the proposed plan changes in a year against today's practice, and what is spared.

    Parameters
    ----------
    table : DataFrame, table "plan_comparison"
    currency : str
    reader : str
        Who reads it, where they are the one who pays: "you".
    """
    rows = table.astype({"plan": "object", "payer": "object", "customer": "object"})
    rows = rows[rows["customer"].fillna("") == ""]
    mine = rows[(rows["plan"] == RECOMMENDED)].set_index("payer")
    other = rows[rows["plan"] == SEEN].set_index("payer")
    payer = next((p for p in ("contractor", "shop") if _known(mine, p)), "")
    a, b = mine.iloc[0], other.iloc[0]
    told = (
        f"With the proposed plan about {_whole(a['failures_per_year'])} failures a year "
        f"instead of {_whole(b['failures_per_year'])} with today's practice, and "
        f"{_whole(a['visits_per_year'])} visits instead of {_whole(b['visits_per_year'])}"
    )
    if not payer:
        return f"{told}; no money is known."
    of: Any = other.loc[payer]
    saving, low, high = (of[f"saving_per_year{end}"] for end in ("", "_lower", "_upper"))
    whose = reader or ("the contractor" if payer == "contractor" else "the shop")
    word = "saves" if saving >= 0 else "costs"
    ends = sorted((abs(low), abs(high))) if low * high > 0 else None
    span = (
        f"{wording.money(ends[0], '')} to {wording.money(ends[1], currency)}"
        if ends
        else f"{wording.money(low, '')} to {wording.money(high, currency)}, so it may go either way"
    )
    more = "" if saving >= 0 else " more"
    return (
        f"{told}: it {word} {whose} {wording.money(abs(saving), currency)}{more} a year ({span})."
    )


def _known(rows: pd.DataFrame, payer: str) -> bool:
    return payer in rows.index and bool(rows["cost_per_year"].notna()[payer])


def _whole(value: float) -> str:
    return wording.number(value, 3) if value < 10 else f"{value:,.0f}".replace(",", " ")
