"""The law of a cell beside its lives: share still working, and the same on probability paper."""

from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, plain
from dutylife.reports.figures import COLOURS, DASHES, as_figure, law_survival
from dutylife.reports.results.marks import in_percent

GRID = 80
# shares failed that are named on the probability plot's axis [1]
_FAILED = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 0.99)


def law_pictures(run: Run, model: Any, given: Facts) -> list[Markup]:
    """Return two pictures of a cell: survival by age, and the probability plot; none unseen.

    Parameters
    ----------
    run : Run
    model : named row of table "life_models"
    given : Facts

    Returns
    -------
    list of Markup
        Empty where no life of the cell has a known age.
    """
    tables = {n: plain(run.table(n)) for n in ("survival_curves", "life_draws", "law_checks")}
    return pictures_from(tables, model, given)


def pictures_from(tables: dict[str, pd.DataFrame], model: Any, given: Facts) -> list[Markup]:
    """Return what `law_pictures` does, of tables read once."""
    curve = _of_cell(tables["survival_curves"], model)
    draws = _of_cell(tables["life_draws"], model)
    if curve.empty or draws.empty or not model.n_failed:
        return []
    checked = tables["law_checks"]
    checked = checked[(checked["component"] == model.component) & (checked["duty"] == model.duty)]
    says = str(checked["verdict"].iloc[0]) if len(checked) else ""
    return [
        as_figure(lambda axes: draw_survival(axes, curve, draws, model, given)),
        as_figure(lambda axes: draw_probability(axes, curve, draws, model, given, says)),
    ]


def _of_cell(table: pd.DataFrame, model: Any) -> pd.DataFrame:
    rows: pd.DataFrame = table[
        (table["component"] == model.component)
        & (table["duty"] == model.duty)
        & (table["clock"] == model.clock)
    ]
    return rows


def band_of(draws: pd.DataFrame, age: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Range of the share still working at each age, over the draws of the law.

    Parameters
    ----------
    draws : DataFrame, table "life_draws"
        Rows of one cell.
    age : ndarray, shape (n,)
        On the cell's clock.
    level : float
        Share of the weight inside the range. [1]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Lower and upper end. [1]
    """
    weight = draws["weight"].to_numpy(float) / draws["weight"].sum()
    laws = zip(draws["distribution"], draws["shape"], draws["scale"], strict=True)
    each = np.array([law_survival(age, str(d), float(k), float(s)) for d, k, s in laws])
    order = np.argsort(each, axis=0)
    inside = np.cumsum(weight[order], axis=0)
    held = np.take_along_axis(each, order, axis=0)
    out = []
    for share in ((1 - level) / 2, (1 + level) / 2):
        at = np.argmax(inside >= share - 1e-12, axis=0)
        out.append(np.take_along_axis(held, at[None, :], axis=0)[0])
    return out[0], out[1]


def draw_survival(
    axes: Any, curve: pd.DataFrame, draws: pd.DataFrame, model: Any, given: Facts
) -> str:
    """Share of a component still working by age: as seen in steps, and the law with its range.

    Parameters
    ----------
    axes : Axes
    curve : DataFrame, table "survival_curves"
        Rows of one component, duty and clock.
    draws : DataFrame, table "life_draws"
        Rows of the same.
    model : named row of table "life_models"
    given : Facts

    Returns
    -------
    str
        What the figure shows.
    """
    unit, b50, scale = _on_clock(model, given)
    law = (str(model.distribution), float(model.shape), scale)
    steps = curve.sort_values("age")
    age = np.r_[0.0, steps["age"].to_numpy()]
    for column in ("survival_lower", "survival_upper"):
        edge = np.r_[1.0, steps[column].to_numpy()]
        axes.step(age, edge, where="post", color=COLOURS[0], linestyle=":", linewidth=1)
    axes.step(
        age, np.r_[1.0, steps["survival"].to_numpy()], where="post",
        color=COLOURS[0], linestyle=DASHES[0], linewidth=2, label="as seen, its range dotted",
    )  # fmt: skip
    grid = np.linspace(0, max(float(age.max()), scale) * 1.05, GRID)
    middle = law_survival(grid, *law)
    low, high = band_of(draws, grid, given.confidence_level)
    axes.fill_between(grid, low, high, color=COLOURS[1], alpha=0.18, linewidth=0)
    axes.plot(
        grid, middle, color=COLOURS[1], linestyle=DASHES[1], linewidth=2,
        label="by the law, its range shaded",
    )  # fmt: skip
    axes.set(
        xlabel=f"age of the part [{unit}]", ylabel="share still working [1]", ylim=(0, 1.02),
        xlim=(0, None), title=f"{model.component}, {model.duty}",
    )  # fmt: skip
    axes.legend(loc="best")
    return (
        f"{model.component}, {model.duty}: {wording.count(model.n_failed, 'failure')} in "
        f"{wording.count(model.n_lives, 'life', 'lives')}; half have failed by about "
        f"{wording.number(b50)} {unit} ({in_percent(given.confidence_level)}s drawn)."
    )


def draw_probability(
    axes: Any, curve: pd.DataFrame, draws: pd.DataFrame, model: Any, given: Facts, says: str
) -> str:
    """Failures on Weibull probability paper: points as seen, the law a line with its range.

    A point stands at the middle of its step of the product-limit curve.

    Parameters
    ----------
    axes : Axes
    curve, draws, model, given
        As in `draw_survival`.
    says : str
        What the test of the law says, for the sentence.

    Returns
    -------
    str
        What the figure shows.
    """
    unit, _, scale = _on_clock(model, given)
    law = (str(model.distribution), float(model.shape), scale)
    steps = curve.sort_values("age")
    after = steps["survival"].to_numpy()
    before = np.r_[1.0, after[:-1]]
    fell = (after < before) & (steps["age"].to_numpy() > 0)
    age, share = steps["age"].to_numpy()[fell], 0.5 * (before + after)[fell]
    grid = np.geomspace(age.min() / 1.5, age.max() * 1.25, GRID)
    middle = law_survival(grid, *law)
    low, high = band_of(draws, grid, given.confidence_level)
    axes.fill_between(grid, _paper(high), _paper(low), color=COLOURS[1], alpha=0.18, linewidth=0)
    axes.plot(grid, _paper(middle), color=COLOURS[1], linestyle=DASHES[1], linewidth=2,
              label="by the law, its range shaded")  # fmt: skip
    axes.plot(age, _paper(share), linestyle="none", marker="o", markersize=4.5,
              color=COLOURS[0], label="failures as seen")  # fmt: skip
    bottom = float(min(_paper(share).min(), _paper(middle).min())) - 0.3
    top = float(max(_paper(share).max(), _paper(middle).max())) + 0.3
    shares = [f for f in _FAILED if bottom <= _paper(np.array([1 - f]))[0] <= top]
    axes.set(
        xscale="log", ylim=(bottom, top), xlabel=f"age of the part [{unit}], each step a multiple",
        ylabel="share failed [%]", title=f"{model.component}, {model.duty}",
    )  # fmt: skip
    heights = [float(_paper(np.array([1 - f]))[0]) for f in shares]
    axes.set_yticks(heights, [f"{100 * f:g}" for f in shares])
    ticks = _ages_named(float(grid[0]), float(grid[-1]))
    axes.set_xticks(ticks, [wording.number(t) for t in ticks], minor=False)
    axes.minorticks_off()
    axes.legend(loc="upper left")
    told = "Points along a straight line speak for the law"
    return f"{model.component}, {model.duty}: {told}" + (f"; {says}." if says else ".")


def _paper(survival: np.ndarray) -> np.ndarray:
    """Height on Weibull paper of a share still working."""
    kept: np.ndarray = np.log(-np.log(np.clip(survival, 1e-9, 1 - 1e-9)))
    return kept


def _ages_named(low: float, high: float) -> list[float]:
    """Ages 1, 2 and 5 times a power of ten within a range."""
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    return [m * 10.0**p for p in powers for m in (1, 2, 5) if low <= m * 10.0**p <= high]


def _on_clock(model: Any, given: Facts) -> tuple[str, float, float]:
    """Unit, half-life and characteristic life of a law on its clock."""
    clock = "hours" if model.clock == "hours" else "days"
    unit = given.meter_short if clock == "hours" else "days"
    return unit, float(getattr(model, f"b50_{clock}")), float(getattr(model, f"scale_{clock}"))
