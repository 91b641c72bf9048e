"""Pictures of one fitted law: its curve over the lives behind it, or its line on Weibull paper."""

from typing import Any

import numpy as np

from dutylife import wording
from dutylife.models import CurvedLaw, LifeLaw, RankFit, kaplan_meier
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import Units, plain_numbers, title

BARS = {"b10": 0.9, "b50": 0.5}  # share still working at the figure


def law(axes: Any, fitted: LifeLaw | CurvedLaw, units: Units) -> None:
    """Draw share working under the law, ranges of b10 and b50, and the lives in steps."""
    last = max(fitted.longest_life, float(fitted.quantile(0.9)))
    if not np.isfinite(last):
        last = fitted.longest_life
    age = np.linspace(0.0, 1.05 * last, 300)
    if getattr(fitted, "rows", None) is None and fitted.n_failed:
        _as_seen(axes, fitted)
    axes.plot(
        age, fitted.survival(age), color=COLOURS[0], linestyle=DASHES[0], linewidth=2,
        label=f"{fitted.law} law",
    )  # fmt: skip
    table: Any = fitted.table
    first = True
    for what, share in BARS.items():
        low, value, high = table.loc[what, ["lower", "value", "upper"]].to_numpy()
        if not np.isfinite([low, high]).all():
            continue
        axes.plot(
            [low, high], [share, share], color="#17211f", linewidth=3, alpha=0.7,
            solid_capstyle="butt", marker="|", label="90 % range of b10 and b50" if first else None,
        )  # fmt: skip
        axes.annotate(f"{what} {wording.number(value)}", (high, share), xytext=(5, 2),
                      textcoords="offset points", fontsize=8.5)  # fmt: skip
        first = False
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel="share still working [1]")
    axes.set(ylim=(0, 1.02), xlim=(0, 1.05 * last))
    title(axes, fitted.text)


def _as_seen(axes: Any, fitted: LifeLaw | CurvedLaw) -> None:
    """Product-limit steps of the lives, where they have any."""
    lives = np.array(fitted.lives, dtype=float)
    exits, failed, entry, weight = lives.T
    # lives entered late may leave the curve without a value: then only the law is drawn
    if (entry > 0).any():
        return
    rows = kaplan_meier(exits, failed, weights=weight).table
    axes.step(
        np.concatenate([[0.0], rows["age"]]), np.concatenate([[1.0], rows["survival"]]),
        where="post", color=COLOURS[1], linestyle=DASHES[1], linewidth=1.6, label="lives as seen",
    )  # fmt: skip


def ranks(axes: Any, fitted: RankFit, units: Units) -> None:
    """Draw the failures on Weibull paper, where a Weibull law is a straight line."""
    points = fitted.table
    axes.set_xscale("log")
    share = points["share_failed"].to_numpy()
    axes.plot(
        points["age"], np.log(-np.log1p(-share)), linestyle="none", marker="o", markersize=6,
        color=COLOURS[1], label="failures at their median ranks",
    )  # fmt: skip
    ends = np.array([points["age"].min() / 1.5, points["age"].max() * 1.5])
    axes.plot(
        ends, fitted.shape * np.log(ends / fitted.scale), color=COLOURS[0], linewidth=2,
        label=f"line of shape {wording.number(fitted.shape)}",
    )  # fmt: skip
    marks = np.array([0.001, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 0.99])
    axes.set_yticks(np.log(-np.log1p(-marks)), [wording.number(m) for m in marks])
    low, high = axes.dataLim.intervaly
    axes.set_ylim(low - 0.3, high + 0.3)
    plain_numbers(axes.xaxis)
    axes.set(xlabel=f"age of the part, log scale [{units.age}]",
             ylabel="share failed, Weibull scale [1]")  # fmt: skip
    title(axes, fitted.text)


DRAWN = {LifeLaw: law, CurvedLaw: law, RankFit: ranks}
