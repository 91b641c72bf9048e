"""One component by itself, for a live notebook: advice, law, curves, lives of each duty."""

import difflib
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.evidence.law_figures import law_pictures
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.tables import Shown, figure_column, html_table


def one_component(run: Run, component: str) -> Section:
    """Return what the run says of one component: by duty its advice, evidence and pictures.

    Parameters
    ----------
    run : Run
    component : str
        Short name, as in the tables.

    Returns
    -------
    Section
        A table by duty and task; for each duty the share still working as seen and by its law,
        and the cost by age where a change is advised.

    Raises
    ------
    RunError
        The run has no law for it; near names are told.
    """
    given, models = facts_of(run), plain(run.table("life_models"))
    mine = models[models["component"] == component]
    if mine.empty:
        known = sorted(models["component"].unique())
        near = difflib.get_close_matches(component, known, n=1, cutoff=0.5)
        raise RunError(
            f"The run has no component '{component}'.", "one_component(run, component)",
            (f"did you mean '{near[0]}'? " if near else "") + "it has: " + ", ".join(known),
        )  # fmt: skip
    advice = plain(run.table("intervals"))
    advice = advice[advice["component"] == component]
    pictures = [p for model in records(mine) for p in law_pictures(run, model, given)]
    pictures += _cost_pictures(run, advice, given)
    failed, lives = int(mine["n_failed"].sum()), int(mine["n_lives"].sum())
    answer = (
        f"{component}: {wording.count(failed, 'failure')} in "
        f"{wording.count(lives, 'life', 'lives')} "
        f"over {wording.count(len(mine), 'duty', 'duties')}."
    )
    return Section("", answer, tuple(advice["sentence"]), (_table(advice, mine, given),
                   side_by_side(pictures)))  # fmt: skip


def _table(advice: pd.DataFrame, models: pd.DataFrame, given: Facts) -> Markup:
    lives = models.set_index("duty")["n_lives"]
    rows = advice.assign(
        often=[
            wording.every(r.interval_hours, r.interval_days, r.clock, given.meter_unit) or "no date"
            for r in records(advice)
        ],
        n_lives=advice["duty"].map(lives),
    )
    return html_table(
        rows,
        [
            Shown(name="duty", heading="duty"),
            Shown(name="task", heading="task"),
            Shown(name="often", heading="how often"),
            figure_column("n_lives", "lives"),
            figure_column("n_failed", "failures"),
            Shown(name="basis", heading="stands on"),
        ],
        caption="What is advised, and how many lives it stands on.",
    )


def _cost_pictures(run: Run, advice: pd.DataFrame, given: Facts) -> list[Markup]:
    curves, costs = plain(run.table("cost_curves")), plain(run.table("costs"))
    relative = costs.groupby(["component", "duty"])["is_relative"].any().to_dict()
    out = []
    for row in records(advice[advice["task"] == "replace"]):
        curve = curves[(curves["component"] == row.component) & (curves["duty"] == row.duty)]
        if curve.empty:
            continue
        money = "times one change" if relative.get((row.component, row.duty)) else given.money_unit

        def draw(axes: Any, curve: Any = curve, row: Any = row, money: str = money) -> str:
            return figures.draw_costs(axes, curve, row, money, given)

        out.append(figures.as_figure(draw))
    return out
