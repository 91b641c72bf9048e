"""Keep a machine, do its safety work only, or retire it: its record and its coming year."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife import wording
from dutylife.decisions.comparison.compare import SimulatedPlans, simulate_plans
from dutylife.decisions.comparison.policies import NONE, Plan
from dutylife.decisions.comparison.ranges import expected_by_law
from dutylife.decisions.comparison.standing import Standing
from dutylife.decisions.comparison.terms import Terms
from dutylife.decisions.comparison.year import Size, Year, years_of
from dutylife.decisions.machine_record import machine_record, own_factor
from dutylife.decisions.telling import would_tell
from dutylife.provenance import digest_of, seed_of
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
KEEP, SAFETY, RETIRE, UNKNOWN = "keep", "safety work only", "retire", "can't tell"
_LONGEST_YEARS = 4.0  # that a new machine is simulated for; its yearly cost is level by then
_AT_ONCE = 4000  # machines whose years are scaled at once
_TREND = 0.05  # false discovery rate over the fleet's machines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeepOrRetire:
    """What to do with each machine in service.

    Parameters
    ----------
    table : DataFrame
        Table "keep_or_retire", a row a machine.
    notes : tuple of str
        What is assumed or not known.
    currency : str
    findings : DataFrame
        Table "findings": classes with a price that no machine has.
    """

    table: pd.DataFrame
    notes: tuple[str, ...]
    currency: str
    findings: pd.DataFrame

    @property
    def text(self) -> str:
        """One sentence."""
        return keep_or_retire_sentence(self.table)


def keep_or_retire(
    tables: Mapping[str, pd.DataFrame],
    settings: Settings,
    *,
    simulated: SimulatedPlans | None = None,
) -> KeepOrRetire:
    """Weigh each machine's coming year against a new one's.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of a run, as for `compare_plans`; "service_lines" for what was billed.
    settings : Settings
        ``[replacement_price."CLASS"]``: price, and the years a new one is kept.
    simulated : SimulatedPlans, optional
        From `simulate_plans` of the same tables and settings, where it is there already.

    Returns
    -------
    KeepOrRetire

    Raises
    ------
    DecisionError
        A table is missing, or no machine in service has a part whose life the record can tell.

    Notes
    -----
    The coming year is simulated under the proposed plan and with safety work only, its failures
    scaled by the machine's own record (gamma-Poisson). A new one costs its price over its years
    and the same upkeep from new. The rule is that of engineering economy (from memory): the cost
    of one more year against the level yearly cost of the replacement, without interest. Verdicts
    ask for a chance of ``report.confidence_level``:

    keep: one more year costs less than a new one; retire: it costs more, even with safety work
    only; safety work only: with all planned work it costs more, with safety work only it costs
    less; can't tell: neither is that sure, or no price or no money is known. Safety work is due
    in each of them, until the machine has left.
    """
    of = simulated or simulate_plans(tables, settings)
    standing, terms, seed = of.standing, of.terms, settings.report.seed
    by_name = {year.plan: year for year in of.years}
    proposed, kept, safety = of.plans[0], of.years[0], by_name[NONE]
    record = machine_record(standing, terms, tables)
    random = np.random.default_rng(seed_of(seed, "keep or retire"))
    factor, _ = own_factor(record, kept.size.n_groups, random)
    payer = next((p for p in ("contractor", "shop") if np.isfinite(kept.sums[p]).all()), "")
    price = _prices(standing, settings)
    new = _new_ones(standing, proposed, terms, payer, price, seed) if payer else {}
    table = _table(standing, record, kept, safety, factor, payer, price, new, settings)
    notes = [f"{n[0].upper()}{n[1:]}." for n in terms.notes]
    lacking = sorted({c for c, p in zip(standing.equipment_class, price, strict=True) if p is None})
    if lacking:
        keys = "; ".join(f'[replacement_price."{c}"]' for c in lacking[:4])
        notes.insert(0, f"No verdict by money where no price of a new machine is stated: {keys}.")
    return KeepOrRetire(
        table=table,
        notes=tuple(notes),
        currency=settings.fleet.currency,
        findings=_findings(standing, settings),
    )


def keep_or_retire_sentence(table: pd.DataFrame) -> str:
    """Say how many machines fall under each advice.

    Parameters
    ----------
    table : DataFrame, table "keep_or_retire"
    """
    counts = table["advice"].astype(object).value_counts()
    if counts.get(UNKNOWN, 0) == len(table):
        return f"No verdict on any of {wording.count(len(table), 'machine')} yet."
    told = [f"{word} {counts[word]}" for word in (RETIRE, SAFETY, KEEP) if counts.get(word, 0)]
    more = f"; {counts[UNKNOWN]} can't be told" if counts.get(UNKNOWN, 0) else ""
    joined = ", ".join(told)
    return f"Of {wording.count(len(table), 'machine')}: {joined}{more}."


def _prices(standing: Standing, settings: Settings) -> list[tuple[float, float] | None]:
    """Price and years of a new machine like each, None where none is stated."""
    stated = {c: (p.price, p.years) for c, p in settings.replacement_price.items()}
    return [stated.get(c) for c in standing.equipment_class]


def _new_ones(
    standing: Standing, plan: Plan, terms: Terms, payer: str,
    price: list[tuple[float, float] | None], seed: int,
) -> dict[float, Array]:  # fmt: skip
    """Yearly upkeep of the same machines from new, by years kept: shape (n_machines, n_groups)."""
    cells = tuple(
        replace(c, age_days=0 * c.days_per_unit, counted_days=0 * c.days_per_unit,
                looked_days=0 * c.days_per_unit)
        for c in standing.cells
    )  # fmt: skip
    out = {}
    for years in sorted({p[1] for p in price if p is not None}):
        span = min(years, _LONGEST_YEARS)
        (year,) = years_of(
            replace(standing, cells=cells), [plan], terms, seed=seed,
            size=Size(n_groups=64, per_group=1), horizon_days=span * DAYS_PER_YEAR,
        )  # fmt: skip
        out[years] = expected_by_law(year.sums[payer] / span, year.size)
    return out


def _table(
    standing: Standing, record: pd.DataFrame, kept: Year, safety: Year, factor: Array, payer: str,
    price: list[tuple[float, float] | None], new: dict[float, Array], settings: Settings,
) -> pd.DataFrame:  # fmt: skip
    level, currency = settings.report.confidence_level, settings.fleet.currency
    tails = ((1 - level) / 2, (1 + level) / 2)
    p_adjusted = _adjusted(record["p_trend"].to_numpy())
    watched = record["watched_hours"].to_numpy(dtype=float)
    # a machine that came on the last day was not watched yet: nothing per hour can be said of it
    per_1000 = np.where(watched > 0, watched, np.nan) / 1000
    hurt = _safety_tasks(standing)
    rows = []
    for i, unit in enumerate(standing.unit_id):
        at = i % _AT_ONCE
        if at == 0:
            some = slice(i, i + _AT_ONCE)
            lost = _lost_days(kept, factor, some)
            own = _quantiles(factor[some], tails)
            coming = _scaled(kept, factor, payer, some) if payer else None
            bare = _scaled(safety, factor, payer, some) if payer else None
            ends = None if coming is None else _quantiles(coming, tails)
        row: dict[str, Any] = {
            "unit_id": unit, "equipment_class": standing.equipment_class[i],
            "duty": standing.duty[i], "customer": standing.customer[i], "payer": payer or None,
            "watched_hours": record["watched_hours"].iloc[i],
            "n_failed": round(record["n_failed"].iloc[i]),
            "billed_per_1000_hours": record["billed"].iloc[i] / per_1000[i],
            "lost_days_per_1000_hours": record["lost_days"].iloc[i] / per_1000[i],
            "own_factor": factor[i].mean(),
            "own_factor_lower": own[0, at],
            "own_factor_upper": own[1, at],
            "p_adjusted": p_adjusted[i],
            "trend": _trend(record["first"].iloc[i], record["second"].iloc[i], p_adjusted[i]),
            "next_year_lost_days": lost[at].mean(), "safety_tasks": hurt[i],
        }  # fmt: skip
        stated, sure = price[i], np.nan
        apart = (np.zeros(1), np.ones(1))
        advice = UNKNOWN
        if coming is not None and bare is not None and ends is not None:
            row |= {
                "next_year_cost": coming[at].mean(),
                "next_year_cost_lower": ends[0, at],
                "next_year_cost_upper": ends[1, at],
            }
            if stated is not None:
                instead = stated[0] / stated[1] + new[stated[1]][i]
                with_plan = expected_by_law(coming[at], kept.size)
                with_safety = expected_by_law(bare[at], safety.size)
                sure = float((with_plan > instead).mean())
                advice = _advice(sure, float((with_safety > instead).mean()), level)
                row["new_one_cost_per_year"] = instead.mean()
                apart = (with_plan, instead)
            if advice == UNKNOWN:
                row["would_tell"] = would_tell(
                    *apart, factor[i], level=level, has_price=stated is not None,
                    watched_years=float(record["watched_days"].iloc[i]) / DAYS_PER_YEAR,
                    expected=float(record["expected"].iloc[i]),
                    equipment_class=standing.equipment_class[i], duty=standing.duty[i],
                )  # fmt: skip
        else:
            row["would_tell"] = "what its work costs, planned and after a failure ([costs])"
        row |= {"probability_new_is_cheaper": sure, "advice": advice}
        row["sentence"] = _sentence(row, stated, currency)
        rows.append(row)
    return as_table("keep_or_retire", pd.DataFrame(rows))


def _scaled(year: Year, factor: Array, payer: str, some: slice) -> Array:
    """Money of the year by machine and simulation, failures scaled by the machine's own record."""
    by_simulation = np.repeat(factor[some], year.size.per_group, axis=1)
    money = year.failure_money[some]
    failures = money if payer == "contractor" else 0 * money
    return np.asarray(year.sums[payer][some] + (by_simulation - 1) * failures)


def _lost_days(year: Year, factor: Array, some: slice) -> Array:
    by_simulation = np.repeat(factor[some], year.size.per_group, axis=1)
    return np.asarray(year.sums["lost_days"][some] * by_simulation)


def _quantiles(values: Array, tails: tuple[float, float]) -> Array:
    """Both ends of each row's middle; (2, n)."""
    return np.asarray(np.quantile(values, tails, axis=1))


def _advice(plan_dearer: float, safety_dearer: float, level: float) -> str:
    if plan_dearer <= 1 - level:
        return KEEP
    if plan_dearer >= level and safety_dearer >= level:
        return RETIRE
    if plan_dearer >= level and safety_dearer <= 1 - level:
        return SAFETY
    return UNKNOWN


def _adjusted(p: Array) -> Array:
    """Chances by false discovery over the machines that were tested."""
    from scipy.stats import false_discovery_control

    out, asked = np.full(len(p), np.nan), np.isfinite(p)
    if asked.any():
        out[asked] = false_discovery_control(p[asked])
    return out


def _trend(first: float, second: float, p: float) -> str:
    if not np.isfinite(p):
        return "too few"
    if p > _TREND:
        return "no trend"
    return "more often" if second > first else "less often"


def _safety_tasks(standing: Standing) -> list[str]:
    """Components of each machine that can hurt someone, joined by ;."""
    found: list[set[str]] = [set() for _ in standing.unit_id]
    for cell in standing.cells:
        if cell.component.can_hurt:
            for machine in np.unique(cell.machine):
                found[machine].add(cell.component.name)
    return [";".join(sorted(names)) for names in found]


def _sentence(row: dict[str, Any], stated: tuple[float, float] | None, currency: str) -> str:
    cost = row.get("next_year_cost", np.nan)
    if not np.isfinite(cost):
        return "Can't tell: no money is known ([costs])."
    coming = (
        f"the coming year costs about {wording.money(cost, currency)} "
        f"({wording.money(row['next_year_cost_lower'], '')} to "
        f"{wording.money(row['next_year_cost_upper'], '')})"
    )
    if stated is None:
        kind = row["equipment_class"]
        return f"No verdict by money: no price of a new {kind or 'machine'} is stated; {coming}."
    instead = f"a new one about {wording.money(row['new_one_cost_per_year'], currency)} a year"
    word = {
        KEEP: "Keep", RETIRE: "Retire", SAFETY: "Safety work only", UNKNOWN: "Can't tell",
    }[row["advice"]]  # fmt: skip
    until = {
        RETIRE: " Until it goes, its safety work stays due.",
        SAFETY: " No part is changed ahead of failure any more but what can hurt someone.",
    }.get(row["advice"], "")
    return f"{word}: {coming}, {instead} (stated price over stated years).{until}"


def _findings(standing: Standing, settings: Settings) -> pd.DataFrame:
    here = set(standing.equipment_class)
    rows = [
        {
            "finding_id": digest_of("replacement_price", name), "stage": "decisions",
            "kind": "note", "table": "keep_or_retire", "key": f'replacement_price."{name}"',
            "source_row": 0, "message": f"no machine in service is a '{name}'",
            "mend": "known: " + ", ".join(sorted(here - {""})),
        }
        for name in sorted(set(settings.replacement_price) - here)
    ]  # fmt: skip
    return as_table("findings", pd.DataFrame(rows)) if rows else empty_table("findings")
