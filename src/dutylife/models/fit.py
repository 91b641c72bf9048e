"""A life law for each component in each duty: its own lives with the others', or a start."""

import math
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.errors import FitError
from dutylife.models.answers import Answer, Cell, answer_of
from dutylife.models.cells import clock_of, lives_on, usable_lives
from dutylife.models.curves import kaplan_meier
from dutylife.models.pooling import Pooled, pool_cells
from dutylife.models.starting import starting_life
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.spread import spread


def fit_models(
    failure_events: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    *,
    with_curves: bool = True,
) -> dict[str, pd.DataFrame]:
    """Fit a law to each component x duty of the failure-event table.

    Parameters
    ----------
    failure_events, unit_spans : DataFrame
        Tables of these names.
    with_curves : bool
        Without, ``survival_curves`` has no rows and no verdict compares duties, which takes half
        the time.

    Returns
    -------
    dict of DataFrame
        ``life_models``, ``life_draws`` (64 draws of equal weight a cell, scale on the row's
        clock) and ``survival_curves``; exactly one clock for each cell.

    Notes
    -----
    Lives of unknown age and lives ended by a comeback are left out; in hours, so are ages that are
    mostly guessed. Where a component failed anywhere, its duties are pooled (`pool_cells`): each
    cell's law stands on its own lives and, as far as the duties prove alike, on the others'. The
    basis is "own data" from 10 failures on (each by the probability that the part was the cause)
    or where no other duty has lives, else "pooled". A component that failed nowhere has a starting
    value: a stated weak prior, moved by the lives seen.
    Idle days are not counted yet: such components go by days.
    """
    known = components_of(settings)
    usable = usable_lives(failure_events, settings.coding.comeback_days)
    use = _use_by_duty(unit_spans, settings)
    pairs = failure_events[["component", "duty"]].astype("object").drop_duplicates()
    by_component = dict(list(usable.groupby("component", sort=True)))
    jobs = [
        (
            str(component), known.get(str(component), Component(name=str(component))),
            sorted(rows["duty"]), by_component.get(component, usable.iloc[:0]),
        )
        for component, rows in pairs.groupby("component", sort=True)
    ]  # fmt: skip
    models, draws, curves = [], [], []
    for of_cells in spread(_of_component, (use, settings, with_curves), jobs, settings.compute):
        for row, drawn, curve in of_cells:
            models.append(row)
            draws.append(drawn)
            curves.append(curve)
    return {
        "life_models": as_table("life_models", pd.DataFrame(models)),
        "life_draws": as_table("life_draws", _stacked(draws)),
        "survival_curves": as_table("survival_curves", _stacked(curves)),
    }


def _of_component(
    common: tuple[dict[str, float], Settings, bool],
    job: tuple[str, Component, list[str], pd.DataFrame],
) -> list[tuple[dict[str, Any], pd.DataFrame, pd.DataFrame]]:
    """Row, draws and curve of each cell of one component."""
    (use, settings, with_curves), (component, about, duties, alike) = common, job
    cells = [_cell(component, duty, alike, about, use) for duty in duties]
    out = []
    for cell, answer in zip(
        cells, _answers(cells, alike, about, settings, compared=with_curves), strict=True
    ):
        curve, note = _curve(cell, settings) if with_curves else (pd.DataFrame(), "")
        out.append((_model_row(cell, answer, note), _draw_rows(cell, answer), curve))
    return out


def _answers(
    cells: list[Cell],
    alike: pd.DataFrame,
    about: Component,
    settings: Settings,
    *,
    compared: bool,
) -> list[Answer]:
    """What is said of each cell; those on one clock are pooled together."""
    pools: dict[str, Pooled | None] = {}
    out = []
    for number, cell in enumerate(cells):
        if cell.clock not in pools:
            pools[cell.clock] = _pool(cells, cell, alike, about, settings)
        out.append(answer_of(cells, number, pools[cell.clock], about, settings, compared))
    return out


def _pool(
    cells: list[Cell], cell: Cell, alike: pd.DataFrame, about: Component, settings: Settings
) -> Pooled | None:
    """Pool of a component on the clock of a cell; None where nothing failed on it."""
    if cell.everywhere.failures <= 0:
        return None
    by_duty = dict(list(alike.groupby("duty", sort=False)))
    none = alike.iloc[:0]
    lives = [lives_on(by_duty.get(c.duty, none), cell.clock) for c in cells]
    # no duty in particular: how duties differ is what the pool is to learn
    life = starting_life(about, "", cell.clock, cell.hours_per_week, settings)
    # the scale behind the age by which one in ten has failed, for the middle shape of the prior
    start = math.log(life.b10) - math.log(-math.log(0.9)) / 1.5
    return pool_cells(lives, start)


def _draw_rows(cell: Cell, answer: Answer) -> pd.DataFrame:
    thin = answer.draws
    return pd.DataFrame(
        {
            "component": cell.component,
            "duty": cell.duty,
            "clock": cell.clock,
            "draw": np.arange(1, len(thin.weight) + 1),
            "weight": thin.weight,
            "distribution": "weibull",
            "shape": thin.shape,
            "scale": thin.scale,
            "basis": answer.basis,
        }
    )


def _stacked(frames: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [f for f in frames if len(f)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame()


def _use_by_duty(unit_spans: pd.DataFrame, settings: Settings) -> dict[str, float]:
    """Median use of the machines of each duty [meter unit per week]; "" is the fleet's."""
    rates = unit_spans["hours_per_week"]
    fleet = float(rates.median()) if rates.notna().any() else math.nan
    if math.isnan(fleet) and settings.fleet.hours_per_week is not None:
        fleet = settings.fleet.hours_per_week
    medians = rates.groupby(unit_spans["duty"].astype("object")).median()
    return {"": fleet} | {str(duty): float(rate) for duty, rate in medians.dropna().items()}


def _cell(
    component: str, duty: str, alike: pd.DataFrame, about: Component, use: dict[str, float]
) -> Cell:
    here = alike["duty"] == duty
    clock = clock_of(alike[here], alike, about)
    # two clocks are told of the longest life, whichever the law counts
    longest = {
        c: float(alike.loc[here & alike[f"fits_{c}"], f"exit_{c}"].max()) for c in ("hours", "days")
    }
    return Cell(
        component=component,
        duty=duty,
        clock=clock,
        own=lives_on(alike[here], clock),
        everywhere=lives_on(alike, clock),
        hours_per_week=use.get(duty, use[""]),
        longest=longest,
    )


def _model_row(cell: Cell, answer: Answer, note: str) -> dict[str, Any]:
    row: dict[str, Any] = {
        "component": cell.component,
        "duty": cell.duty,
        "clock": cell.clock,
        "distribution": "weibull",
        "longest_life_hours": cell.longest["hours"],
        "longest_life_days": cell.longest["days"],
        "n_lives": cell.own.n_lives,
        "n_failed": cell.own.n_failed,
        "own_data_share": answer.own_data_share,
        "component_wears": answer.component_wears,
        "basis": answer.basis,
        "verdict": answer.text + note,
    }
    per_day = cell.hours_per_week / 7.0
    to = {"hours": 1.0 if cell.clock == "hours" else per_day,
          "days": 1.0 if cell.clock == "days" else 1.0 / per_day}  # fmt: skip
    ends = ("_lower", "", "_upper")
    for what, values in answer.figures.items():
        for end, value in zip(ends, values, strict=True):
            if what == "shape":
                row[f"shape{end}"] = value
                continue
            name = "mean_life" if what == "mean" else what
            for clock, factor in to.items():
                row[f"{name}_{clock}{end}"] = value * factor
    return row


def _curve(cell: Cell, settings: Settings) -> tuple[pd.DataFrame, str]:
    """Product-limit curve of a cell with a failure, from age 0; a note where there is none."""
    lives = cell.own
    if lives.failures == 0:
        return pd.DataFrame(), ""
    try:
        curve = kaplan_meier(
            lives.exit, lives.event, entry=lives.entry, weights=lives.weight,
            level=settings.report.confidence_level,
        )  # fmt: skip
    except FitError:  # all lives watched at some early age failed while others entered later
        return pd.DataFrame(), " No curve is drawn: too few lives were watched from new."
    steps = curve.table.rename(columns={"lower": "survival_lower", "upper": "survival_upper"})
    start = pd.DataFrame(
        {"age": [0.0], "survival": [1.0], "survival_lower": [1.0], "survival_upper": [1.0]}
    )
    kept = pd.concat([start, steps[start.columns]], ignore_index=True)
    # of ages that are one as tables are written (ten figures) the later step stands
    written = kept["age"].map("{:.10g}".format)
    kept = kept[~written.duplicated(keep="last")].reset_index(drop=True)
    return kept.assign(component=cell.component, duty=cell.duty, clock=cell.clock), ""
