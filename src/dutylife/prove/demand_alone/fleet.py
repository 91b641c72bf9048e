"""One fleet of a world: chain, oracle and series methods forecast the year that comes."""

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife import pipeline
from dutylife.backtest.methods import OTHERS, chances_by
from dutylife.practice import PracticeFleet, simulate_fleet, write_practice
from dutylife.prove.demand_alone.scores import MONTHS, DemandSums
from dutylife.prove.demand_alone.stock import STARTS, stock_rows
from dutylife.prove.demand_alone.worlds import CONTRACT, N_YEARS, PLAN, World, world_of
from dutylife.prove.oracle import oracle_demand
from dutylife.prove.replay import future_pieces, unit_costs
from dutylife.prove.scores import ORACLE, OURS
from dutylife.prove.truth import true_cells
from dutylife.settings import Settings
from dutylife.stock.demand import Span, days_ahead
from dutylife.stock.fleet_demand import FleetDemand, fleet_demand
from dutylife.stock.plans import plans_of
from dutylife.stock.shares import SERIES, Series, monthly_series
from dutylife.stock.shelf import shelf_rows
from dutylife.stock.stream_terms import Laws
from dutylife.stock.terms import Terms, terms_of
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
ALL_PARTS, ITS_PARTS = "all parts", "parts it changes"
SERIES_METHODS = (SERIES, *OTHERS)
_NOTHING = np.ones(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandJob:
    """One fleet of a world: its size and seed."""

    world: str
    number: int
    n_units: int
    seed: int

    @property
    def name(self) -> str:
        """Name of the fleet, as a file of its result has it."""
        return f"{self.world.replace(' ', '-')}-{self.number:03d}-{self.n_units}-{self.seed}"


def demand_rows(job: DemandJob) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of tables "prove_demand_sums" and "prove_demand_stock" of one fleet."""
    fleet, settings, tables = run_world(job)
    return score_world(job, fleet, settings, tables)


def run_world(job: DemandJob) -> tuple[PracticeFleet, Settings, dict[str, pd.DataFrame]]:
    """Make the fleet and read its messy export up to the life models."""
    world = world_of(job.world)
    with tempfile.TemporaryDirectory(prefix="dutylife-prove-") as name:
        folder = Path(name)
        text = folder / "world.toml"
        text.write_text(world.text, encoding="utf-8")
        keywords = world.practice_keywords(job.n_units)
        fleet = simulate_fleet(seed=job.seed, settings_file=text, **keywords)
        paths = write_practice(folder / "export", fleet, n_years=N_YEARS)
        settings, tables = pipeline.run_stages(paths["settings"], laws_only=True)
    return fleet, settings, tables


def score_world(
    job: DemandJob, fleet: PracticeFleet, settings: Settings, tables: dict[str, pd.DataFrame]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Score the forecasts of the chain, the oracle and every series method."""
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    asked = future_pieces(fleet, max(MONTHS))
    listed = shelf_rows(tables["shelf"], {})
    terms = {n: terms_of(n, listed.get(n, {}), settings) for n in asked}
    starts = tuple((as_of + pd.DateOffset(months=m) - as_of).days for m in STARTS)
    spans = _spans(as_of, starts, terms)
    by_method = _forecasts(fleet, settings, tables, spans)
    its = parts_changed(fleet, world_of(job.world))
    sums = DemandSums()
    rng = np.random.default_rng((job.seed, 5))
    stock: list[dict[str, Any]] = []
    draws = {(part, m): float(rng.uniform()) for part in sorted(asked) for m in MONTHS}
    for method, law in by_method.items():
        for part in sorted(asked):
            for months in MONTHS:
                days = (as_of + pd.DateOffset(months=months) - as_of).days
                came = max(float(asked[part][:days].sum()), 0.0)
                chances = law(part, 0, days)
                for among in (ALL_PARTS, *([ITS_PARTS] if part in its else [])):
                    sums.add(among, method, months, chances, came, draws[part, months])

        def ahead(part: str, month: int, days: float, law: Any = law) -> Array:
            return np.asarray(law(part, starts[STARTS.index(month)], round(days)))

        own = {p: d for p, d in asked.items() if not its or p in its}
        rows = stock_rows(ahead, own, terms, unit_costs(fleet), starts)
        among = ITS_PARTS if its else ALL_PARTS
        stock += [{"among": among, "method": method} | r for r in rows]
    head = {"case": job.world, "fleet": f"{job.world} {job.number:03d}"}
    return [head | r for r in sums.as_rows], [head | r for r in stock]


def parts_changed(fleet: PracticeFleet, world: World) -> set[str]:
    """Part numbers whose demand the world changes: of the contract's class, of the plan."""
    scenario = fleet.scenario
    if world.name == CONTRACT:
        kind = fleet.announced[0].equipment_class
        return {scenario.part_number(c, kind) for c in scenario.components_of(kind)}
    if world.name == PLAN:
        return {n for c in scenario.plan.ages for n in scenario.components[c].part_numbers.values()}
    return set()


def _forecasts(
    fleet: PracticeFleet, settings: Settings, tables: dict[str, pd.DataFrame], spans: list[Span]
) -> dict[str, Any]:
    """Chances by (part, first day, days) of each method."""
    ours = fleet_demand(
        tables["failure_events"], tables["life_draws"], pd.DataFrame(), tables["units"],
        tables["unit_spans"], tables["service_lines"], tables["maintenance_events"],
        tables["catalogue"], settings, contracts=tables["contracts"],
        use_seasons=tables["use_seasons"],
    )  # fmt: skip
    told = oracle_demand(fleet, true_cells(fleet), tables, settings)
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    series = monthly_series(tables["service_lines"], ours.current, as_of)
    out: dict[str, Any] = {
        OURS: _of_laws(ours, settings, spans), ORACLE: _of_laws(told, settings, spans)
    }  # fmt: skip
    return out | {m: _of_series(m, series) for m in SERIES_METHODS}


def _of_laws(demand: FleetDemand, settings: Settings, spans: list[Span]) -> Any:
    laws: dict[str, Laws] = demand.laws(plans_of(settings)[0], spans)

    def chances(part: str, start: int, days: int) -> Array:
        own = laws.get(part)
        return _NOTHING if own is None else own[start, start + days].chances()

    return chances


def _of_series(method: str, series: Series) -> Any:
    known: dict[tuple[str, int], Array] = {}

    def chances(part: str, _: int, days: int) -> Array:
        if part not in series.pieces:
            return _NOTHING
        if (part, days) not in known:
            known[part, days] = (
                series.chances(part, days) if method == SERIES
                else chances_by(method, series.pieces[part], days / DAYS_PER_MONTH)
            )  # fmt: skip
        return known[part, days]

    return chances


def _spans(as_of: pd.Timestamp, starts: tuple[float, ...], terms: dict[str, Terms]) -> list[Span]:
    """Spans scored, and lead time and review from each start on."""
    out = [days_ahead(as_of, (as_of + pd.DateOffset(months=m) - as_of).days) for m in MONTHS]
    first = as_of + pd.Timedelta(days=1)
    for days in sorted({round(t.protection_days) for t in terms.values()}):
        out += [
            Span(from_date=first + pd.Timedelta(days=s), months=days / DAYS_PER_MONTH, start=s,
                 days=float(days))
            for s in starts
        ]  # fmt: skip
    return out
