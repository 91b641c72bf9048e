"""The page of the proof of demand: forecasts of a year that truly came, beside an oracle's."""

from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.reports.layout import Section
from dutylife.reports.proofs.backtest_page import WORDS
from dutylife.reports.proofs.prove_page import write_proof
from dutylife.reports.proofs.prove_parts import as_words, percent_of
from dutylife.reports.tables import Shown, figure_column, html_table

TITLE = "Invented fleets: demand of parts against the future that came"
LEAD = (
    "Every fleet here is invented, its laws and its future are known because they were chosen. "
    "This page shows how the method behaves, not that it is right for your shop.",
    "Each fleet's messy export goes through reading, coding, lives and models. The oracle goes "
    "through the same forecast and is told the true laws, ages, use, repairs and who is still "
    "there; chance is chance to it as well. The best series method is the one that did best in "
    "that world, picked afterwards, among moving averages, smoothing for slow parts, a seasonal "
    "repeat, counting laws and the shop's own months.",
)
# the order of the page; the tables are in order of their keys
WORLDS = ("steady", "machines arriving", "a known contract", "a plan that starts")
METHODS = WORDS | {
    "dutylife": "this program", "oracle": "the oracle, told the true laws",
    "moving average": "mean of the last months", "poisson": "counting law, even months",
    "negative binomial": "counting law, uneven months",
}  # fmt: skip


def write_prove_demand_page(
    folder: str | Path, tables: dict[str, pd.DataFrame], info: dict[str, Any]
) -> Path:
    """Write DIR/demand.html.

    Parameters
    ----------
    folder : str or Path
        Folder of the tables.
    tables : dict of str to DataFrame
        "prove_demand" and "prove_demand_verdicts".
    info : dict
        seed, n_fleets, n_units, source_digest.

    Returns
    -------
    Path
    """
    verdicts, figures = as_words(tables["prove_demand_verdicts"]), as_words(tables["prove_demand"])
    worlds = [w for w in WORLDS if w in set(figures["case"])]
    sections = [_met(verdicts), *(_world(figures, verdicts, w) for w in worlds)]
    made = (
        f"program {info['source_digest']}, {info['n_fleets']} fleets of {info['n_units']} machines "
        f"in each world, seed {info['seed']}"
    )
    return write_proof(Path(folder) / "demand.html", TITLE, LEAD, sections, made)


def _met(verdicts: pd.DataFrame) -> Section:
    n_met = int((verdicts["answer"] == "met").sum())
    missed = verdicts[verdicts["answer"] == "not met"]
    told = tuple(
        f"Not met: {r['case']}, {r['among']}: {r['aim']}; found {_figure(r)}."
        for r in missed.to_dict("records")
    )
    return Section("What is met", f"{n_met} of {len(verdicts)} aims are met.", told)


def _figure(row: dict[Any, Any]) -> str:
    if str(row["measure"]).startswith("even ranks"):
        return f"{row['figure']:.3f}"
    error = row["standard_error"]
    known = f" (standard error {100 * error:.1f})" if error == error else ""
    return percent_of(row["figure"]) + known


def _world(figures: pd.DataFrame, verdicts: pd.DataFrame, world: str) -> Section:
    own = figures[figures["case"] == world].sort_values(
        ["among", "measure", "figure"], kind="stable"
    )
    shown = [
        Shown(name="among", heading="over"),
        Shown(name="measure", heading="scored by"),
        Shown(name="method", heading="method"),
        figure_column("figure", "figure", "", write=lambda v: f"{v:.3g}"),
        figure_column("gain", "lower than the best series method by", write=percent_of),
        figure_column("gain_se", "standard error", write=percent_of),
    ]
    own = own.assign(method=[METHODS.get(m, m) for m in own["method"]])
    aims = verdicts[verdicts["case"] == world]
    aims = aims.assign(found=[_figure(r) for r in aims.to_dict("records")])
    of_aims = [
        Shown(name="among", heading="over"),
        Shown(name="aim", heading="aim"),
        Shown(name="found", heading="found"),
        Shown(name="answer", heading="answer"),
    ]
    return Section(
        world[0].upper() + world[1:],
        parts=(
            html_table(aims, of_aims, caption=f"Aims, {world}."),
            html_table(own, shown, caption=f"Every method, {world}."),
        ),
    )
