"""Compared plans of an invented fleet beside the same plans under its true laws, ages and future.

``python tests/recovery/comparison_truth.py [--fleets 12]`` prints how often bounds hold.
"""

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dutylife import pipeline
from dutylife.decisions.comparison.policies import NONE, RECOMMENDED, SEEN, plans_to_compare
from dutylife.decisions.comparison.ranges import figure_of
from dutylife.decisions.comparison.standing import Standing, as_it_stands
from dutylife.decisions.comparison.terms import terms_of
from dutylife.decisions.comparison.year import size_for, years_of
from dutylife.practice import PracticeFleet, simulate_fleet, write_practice
from dutylife.prove.truth import true_cells

LEVEL = 0.9
_BY_PART = ("machine", "counted_days", "seen_days", "use_per_week", "looked_days", "keys")


def truth_of(fleet: PracticeFleet, told: Standing) -> Standing:
    """The fleet as the run sees it, with true laws and true ages; parts that aren't there gone.

    Plans go on counting from the ages the run knows: what is scored is the forecast of that plan.
    """
    cells = true_cells(fleet)
    lives = fleet.lives[fleet.lives["event"] == "running"]
    ages = lives.set_index(["unit_id", "component"])[["age_hours", "age_days"]]
    ages = ages[~ages.index.duplicated(keep="last")]
    use = {m.unit_id: m.hours_per_week for m in fleet.machines}
    out = []
    for cell in told.cells:
        true = cells.get(cell.key)
        units = [told.unit_id[i] for i in cell.machine]
        here = [true is not None and (u, cell.component.name) in ages.index for u in units]
        kept = np.flatnonzero(here)
        if true is None or not kept.size:
            continue
        on_meter = true.clock == "hours"
        own = ages.loc[[(units[i], cell.component.name) for i in kept]]
        per_unit = np.array([7 / use[units[i]] for i in kept]) if on_meter else np.ones(len(kept))
        age = own["age_hours" if on_meter else "age_days"].to_numpy() * per_unit
        arrays = {n: getattr(cell, n)[kept] for n in _BY_PART}
        out.append(replace(
            cell, **arrays, shape=np.array([true.shape]), scale=np.array([true.scale]),
            weights=np.ones(1), age_days=age, days_per_unit=per_unit,
        ))  # fmt: skip
    return replace(told, cells=tuple(out))


def rows_of(seed: int, n_units: int, n_years: float) -> list[dict[str, Any]]:
    """What was said and what is true, a row for each figure."""
    with tempfile.TemporaryDirectory() as name:
        fleet = simulate_fleet(n_units=n_units, n_years=n_years, seed=seed)
        paths = write_practice(Path(name), fleet, n_years=n_years)
        settings, tables = pipeline.run_stages(paths["settings"])
    standing = as_it_stands(tables, settings)
    told = _years(standing, standing, tables, settings)
    true = _years(standing, truth_of(fleet, standing), tables, settings)
    stays = {
        m.unit_id for m in fleet.machines if m.is_customer_here and m.leaves > fleet.span.until
    }
    both = sorted(set(standing.unit_id) & stays)
    rows = []
    for plan in (RECOMMENDED, NONE):
        for measure in ("failures", "contractor"):
            rows.append(_row(seed, plan, measure, told, true, both))
    for measure in ("failures", "contractor"):
        rows.append(_row(seed, f"{NONE} - {RECOMMENDED}", measure, told, true, both))
    # the plan of the record goes on in the invented future: one year that came
    known = {c.component.name for c in standing.cells}
    came = sum(
        w.component in known and w.reason == "failure"
        for v in fleet.visits
        if v.day >= fleet.span.end and v.machine.unit_id in both
        for w in v.works
    )
    total, size = _total(told, SEEN, "failures", both)
    said = figure_of(total, size, LEVEL)
    rows.append({"seed": seed, "plan": "as seen, the year that came", "measure": "failures",
                 "said": said.value, "lower": said.year_lower, "upper": said.year_upper,
                 "true": float(came)})  # fmt: skip
    return rows


def _years(told: Standing, fleet: Standing, tables: Any, settings: Any) -> dict[str, Any]:
    terms = terms_of(told, tables, settings)
    plans = plans_to_compare(told, tables, settings)
    years = years_of(fleet, plans, terms, seed=settings.report.seed, size=size_for(told.n_parts))
    return {"units": fleet.unit_id, "years": {y.plan: y for y in years}}


def _total(of: dict[str, Any], plan: str, measure: str, units: list[str]) -> tuple[Any, Any]:
    year = of["years"][plan]
    rows = [of["units"].index(u) for u in units]
    return year.sums[measure][rows].sum(axis=0), year.size


def _row(
    seed: int, plan: str, measure: str, told: Any, true: Any, units: list[str]
) -> dict[str, Any]:  # fmt: skip
    one, _, other = plan.partition(" - ")
    totals = []
    for of in (told, true):
        total, size = _total(of, one, measure, units)
        if other:
            total = total - _total(of, other, measure, units)[0]
        totals.append(total)
    said = figure_of(totals[0], size, LEVEL)
    return {
        "seed": seed, "plan": plan, "measure": measure, "said": said.value, "lower": said.lower,
        "upper": said.upper, "true": float(totals[1].mean()),
    }  # fmt: skip


def coverage(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of figures within their bounds, and said over true, by plan and measure."""
    held = (rows["lower"] <= rows["true"]) & (rows["true"] <= rows["upper"])
    out = rows.assign(held=held, ratio=rows["said"] / rows["true"],
                      width=(rows["upper"] - rows["lower"]) / rows["said"].abs())  # fmt: skip
    return out.groupby(["plan", "measure"]).agg(
        n=("held", "size"), held=("held", "mean"), ratio=("ratio", "mean"),
        ratio_se=("ratio", lambda r: np.std(r, ddof=1) / np.sqrt(len(r))), width=("width", "mean"),
    )  # fmt: skip


if __name__ == "__main__":
    given = argparse.ArgumentParser()
    given.add_argument("--fleets", type=int, default=12)
    given.add_argument("--units", type=int, default=60)
    given.add_argument("--years", type=float, default=4)
    asked = given.parse_args()
    every: list[dict[str, Any]] = []
    for number in range(asked.fleets):
        every += rows_of(500 + number, asked.units, asked.years)
        print(f"fleet {number + 1} of {asked.fleets}", flush=True)
    print(coverage(pd.DataFrame(every)).round(3).to_string())
    pd.DataFrame(every).to_csv("/dev/stdout", index=False) if asked.fleets < 4 else None
