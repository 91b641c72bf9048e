"""A life law for each component in each duty: its own, pooled, or a starting value."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.errors import FitError
from dutylife.models import verdict
from dutylife.models.cells import CellLives, clock_of, lives_on, usable_lives
from dutylife.models.checks import Array
from dutylife.models.curves import kaplan_meier
from dutylife.models.draws import (
    LARGEST_SHAPE,
    SMALLEST_SHAPE,
    Draws,
    Prior,
    moved_by,
    normal_draws,
)
from dutylife.models.fitting import fit_law
from dutylife.models.laws import WHAT, LifeLaw
from dutylife.models.starting import (
    LOG_SHAPE_MEAN,
    LOG_SHAPE_SD,
    starting_life,
    starting_prior,
)
from dutylife.provenance import seed_of
from dutylife.schema import as_table
from dutylife.settings import Settings

# between duties of one component: about a factor of 1.6 either way (the severity classes of the
# trade put life in hard duty at 0.2 to 1 of that in normal duty). Our proposal.
LOG_SCALE_SD_BETWEEN_DUTIES = 0.5
LOG_SHAPE_SD_BETWEEN_DUTIES = 0.2


@dataclass(frozen=True, slots=True)
class _Cell:
    """A component in a duty: its clock, its lives there and those of the other duties."""

    component: str
    duty: str
    clock: str
    own: CellLives
    others: CellLives
    everywhere: CellLives
    hours_per_week: float
    longest: dict[str, float]
    seed: int


@dataclass(frozen=True, slots=True)
class _Answer:
    """What is said of a cell: (lower, value, upper) of each figure, and the draws."""

    basis: str
    figures: dict[str, tuple[float, float, float]]
    draws: Draws
    own_data_share: float
    text: str


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
        Without, ``survival_curves`` has no rows, which takes half the time.

    Returns
    -------
    dict of DataFrame
        ``life_models``, ``life_draws`` (64 draws of equal weight a cell, scale on the row's
        clock) and ``survival_curves``; exactly one clock for each cell.

    Notes
    -----
    Lives of unknown age and lives ended by a comeback are left out; in hours, so are ages that are
    mostly guessed. Own law: at least 10 failures, or 5 where no other duty has such lives (each
    by the probability that the part was the cause), at 2 different ages, and a shape within 0.2 to
    10. Else pooled: the law of the
    component in the other duties, widened by how far duties differ, then moved by the lives seen
    in this duty; where only all duties together have 5 failures, their law, widened. Else a
    starting value: a stated weak prior, moved likewise.
    Idle days are not counted yet: such components go by days.
    """
    known = components_of(settings)
    usable = usable_lives(failure_events, settings.coding.comeback_days)
    use = _use_by_duty(unit_spans, settings)
    pairs = failure_events[["component", "duty"]].astype("object").drop_duplicates()
    by_component = dict(list(usable.groupby("component", sort=True)))
    models, draws, curves = [], [], []
    fits: dict[tuple[str, str], LifeLaw | None] = {}
    for component, duty in sorted(pairs.itertuples(index=False)):
        about = known.get(component, Component(name=component))
        alike = by_component.get(component, usable.iloc[:0])
        cell = _cell(component, duty, alike, about, use, settings)
        if (component, cell.clock) not in fits:
            fits[component, cell.clock] = _law(cell.everywhere)
        answer = _answer(cell, about, fits[component, cell.clock], settings)
        curve, note = _curve(cell, settings) if with_curves else (pd.DataFrame(), "")
        curves.append(curve)
        models.append(_model_row(cell, answer, note))
        thin = answer.draws
        draws.append(
            pd.DataFrame(
                {
                    "component": component,
                    "duty": duty,
                    "clock": cell.clock,
                    "draw": np.arange(1, len(thin.weight) + 1),
                    "weight": thin.weight,
                    "distribution": "weibull",
                    "shape": thin.shape,
                    "scale": thin.scale,
                    "basis": answer.basis,
                }
            )
        )
    return {
        "life_models": as_table("life_models", pd.DataFrame(models)),
        "life_draws": as_table("life_draws", _stacked(draws)),
        "survival_curves": as_table("survival_curves", _stacked(curves)),
    }


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
    component: str,
    duty: str,
    alike: pd.DataFrame,
    about: Component,
    use: dict[str, float],
    settings: Settings,
) -> _Cell:
    here = alike["duty"] == duty
    clock = clock_of(alike[here], alike, about)
    # two clocks are told of the longest life, whichever the law counts
    longest = {
        c: float(alike.loc[here & alike[f"fits_{c}"], f"exit_{c}"].max()) for c in ("hours", "days")
    }
    return _Cell(
        component=component,
        duty=duty,
        clock=clock,
        own=lives_on(alike[here], clock),
        others=lives_on(alike[~here], clock),
        everywhere=lives_on(alike, clock),
        hours_per_week=use.get(duty, use[""]),
        longest=longest,
        seed=seed_of(settings.report.seed, "cell", component, duty),
    )


def _law(lives: CellLives) -> LifeLaw | None:
    """The Weibull law of these lives, None where they do not carry one."""
    if lives.failures < verdict.FEW_FAILURES:
        return None
    try:
        lower, upper = _between(lives)
        law = fit_law(
            "weibull", lives.exit, lives.event, entry=lives.entry, weights=lives.weight,
            lower=lower, upper=upper,
        )  # fmt: skip
    except FitError:  # all failures at one age, or no maximum: the next basis stands, and says so
        return None
    return law if SMALLEST_SHAPE < law.shape < LARGEST_SHAPE else None


def _between(lives: CellLives) -> tuple[Array | None, Array | None]:
    """Bounds of the failures found at a service, None where there is no such failure."""
    found = lives.found
    if not found.any() or lives.lower is None:
        return None, None
    return np.where(found, lives.lower, np.nan), np.where(found, lives.exit, np.nan)


def _answer(
    cell: _Cell, about: Component, everywhere: LifeLaw | None, settings: Settings
) -> _Answer:
    level = settings.report.confidence_level
    enough = cell.own.failures >= verdict.OWN_FAILURES or not cell.others.n_lives
    own = _law(cell.own) if enough else None
    if own is not None:
        figures = {w: _with_bounds(own, w, level) for w in WHAT}
        shape_range = figures["shape"][0], figures["shape"][2]
        range_80 = own.bounds("shape", 0.80)
        word = verdict.strength(cell.own.failures, shape_range, range_80)
        seen = verdict.seen(cell.own.n_failed, cell.own.n_lives)
        text = f"{word}: {seen}; {_shape_and_life(cell, figures, range_80, settings)}."
        draws = normal_draws(*_log_normal(own), cell.seed)
        return _Answer("own data", figures, draws, 1.0, text)
    others = _law(cell.others)
    pooled = others or everywhere
    if pooled is None:
        life = starting_life(about, cell.duty, cell.clock, cell.hours_per_week, settings)
        wide = moved_by(starting_prior(life), cell.own, cell.seed)
        text = verdict.starting_text(
            life, cell.own.n_failed, cell.own.n_lives, cell.clock, settings
        )
        return _Answer("starting value", _ranges(wide, level), wide.thinned(cell.seed), 0.0, text)
    prior = _pooled_prior(pooled)
    # lives that are in the pool already can't move it once more
    wide = prior.draws(cell.seed) if others is None else moved_by(prior, cell.own, cell.seed)
    figures = _ranges(wide, level)
    shape_range = figures["shape"][0], figures["shape"][2]
    pool = cell.everywhere
    low_80, _, high_80 = wide.range_of("shape", 0.80)
    range_80 = (low_80, high_80)
    word = verdict.strength(pool.failures, shape_range, range_80)
    where = "other duties" if others is not None else "all duties"
    moved = ", moved by its own" if others is not None and cell.own.n_lives else ""
    text = (
        f"Pooled. {verdict.seen(cell.own.n_failed, cell.own.n_lives)} in this duty: too few for a "
        f"law of its own, so the lives of {where} stand in{moved} "
        f"({verdict.seen(pool.n_failed, pool.n_lives)} in all). "
        f"{word}: {_shape_and_life(cell, figures, range_80, settings)}."
    )
    share = cell.own.n_failed / pool.n_failed
    return _Answer("pooled", figures, wide.thinned(cell.seed), share, text)


def _with_bounds(law: LifeLaw, what: str, level: float) -> tuple[float, float, float]:
    value = {"shape": law.shape, "scale": law.scale, "mean": law.mean()}
    value |= {"b10": float(law.quantile(0.1)), "b50": float(law.quantile(0.5))}
    low, high = law.bounds(what, level)
    return low, value[what], high


def _ranges(draws: Draws, level: float) -> dict[str, tuple[float, float, float]]:
    return {what: draws.range_of(what, level) for what in WHAT}


def _log_normal(law: LifeLaw) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of (log shape, log scale)."""
    location, both, log_spread = law.covariance
    mean = np.array([-math.log(law.spread), law.location])
    return mean, np.array([[log_spread, -both], [-both, location]])


def _pooled_prior(law: LifeLaw) -> Prior:
    """A pool's law, its shape held by the weak prior, widened by how far duties differ.

    A pool of a handful of failures gives shapes of 5 and more by chance; one of fifty hardly
    feels the prior.
    """
    mean, covariance = _log_normal(law)
    precision = np.linalg.inv(covariance)
    held = np.array([1.0 / LOG_SHAPE_SD**2, 0.0])
    posterior = np.linalg.inv(precision + np.diag(held))
    centre = posterior @ (precision @ mean + held * LOG_SHAPE_MEAN)
    between = np.array([LOG_SHAPE_SD_BETWEEN_DUTIES, LOG_SCALE_SD_BETWEEN_DUTIES])
    return Prior(centre, posterior + np.diag(between**2), is_b10=False)


def _shape_and_life(
    cell: _Cell,
    figures: dict[str, tuple[float, float, float]],
    range_80: tuple[float, float],
    settings: Settings,
) -> str:
    shape, half = figures["shape"], figures["b50"]
    level = settings.report.confidence_level
    risk = verdict.wear(shape[1], (shape[0], shape[2]), range_80, level)
    longest = cell.longest[cell.clock]
    told = verdict.half_life(half[1], (half[0], half[2]), longest, cell.clock, settings)
    return f"{risk}; {told}"


def _model_row(cell: _Cell, answer: _Answer, note: str) -> dict[str, Any]:
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


def _curve(cell: _Cell, settings: Settings) -> tuple[pd.DataFrame, str]:
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
    return kept.assign(component=cell.component, duty=cell.duty, clock=cell.clock), ""
