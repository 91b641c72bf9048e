"""One fleet through the whole chain, messy export to order list, and scored against its truth."""

import tempfile
from pathlib import Path
from typing import Any

from dutylife import pipeline
from dutylife.errors import DutylifeError
from dutylife.practice import PracticeFleet, simulate_fleet, write_practice
from dutylife.prove.careful import read_lives
from dutylife.prove.demand import score_demand
from dutylife.prove.events import score_events
from dutylife.prove.jobs import SIZE, Job
from dutylife.prove.laws import score_laws, true_ranks
from dutylife.prove.money import score_money
from dutylife.prove.oracle import oracle_stock
from dutylife.prove.plants import plant_of
from dutylife.prove.replay import score_stock
from dutylife.prove.scores import ORACLE, OURS, Scores
from dutylife.prove.truth import true_cells
from dutylife.settings import Settings


def run_fleet(job: Job) -> dict[str, Any]:
    """Make a fleet, run the chain on its export, score it.

    Returns
    -------
    dict
        ``job``, ``scores`` (rows of "prove_scores"), ``ranks``, and ``went_wrong``: the message
        where the chain refused the export. It scores 0 of 1 under "fleets run", then.
    """
    scores = Scores()
    out: dict[str, Any] = {"job": job.as_dict(), "ranks": [], "went_wrong": ""}
    after = plant_of(job.plant)
    with tempfile.TemporaryDirectory(prefix="dutylife-prove-") as name:
        folder = Path(name)
        fleet = simulate_fleet(**job.practice_keywords)
        paths = write_practice(folder, fleet, n_years=job.n_years)
        try:
            settings, tables = pipeline.run_stages(paths["settings"], after=after)
        except Exception as error:  # a refusal or a bug: the page says which, first of all
            scores.add("fleets run", OURS, 0, 1)
            kind = "" if isinstance(error, DutylifeError) else f"bug: {type(error).__name__}: "
            # the folder's name is another one each time, and says nothing
            out["went_wrong"] = kind + str(error).replace(str(folder), "EXPORT")
        else:
            scores.add("fleets run", OURS, 1, 1)
            out["ranks"] = _score(job, fleet, settings, tables, scores)
    return out | {"scores": scores.rows}


def _score(
    job: Job,
    fleet: PracticeFleet,
    settings: Settings,
    tables: dict[str, Any],
    scores: Scores,
) -> list[dict[str, object]]:
    cells = true_cells(fleet)
    read = read_lives(fleet, cells)
    stated = {}
    for component in fleet.scenario.components:
        cost = settings.cost_of(component)
        stated[component] = (cost.planned_cost or 0.0, cost.failure_cost or 0.0)
    score_events(fleet, tables["maintenance_events"], scores)
    score_laws(cells, tables["life_models"], read, scores)
    score_money(fleet, cells, tables["intervals"], stated, read, scores)
    # the oracle stands beside the sizes only; it takes a quarter of the time
    told = oracle_stock(fleet, cells, tables, settings) if job.kind == SIZE else None
    made = {OURS: tables} | ({} if told is None else {ORACLE: told})
    score_demand(fleet, {m: t["demand_forecast"] for m, t in made.items()}, scores)
    plans = {m: t["stock_plan"] for m, t in made.items()}
    score_stock(fleet, plans, tables["shelf"], settings, scores)
    return true_ranks(cells, tables["life_draws"])
