"""Pictures of curves without a law: share working, hazard, causes, events that come again."""

from typing import Any

import numpy as np

from dutylife.errors import RunError
from dutylife.models import (
    CauseCurves,
    CumulativeHazard,
    IntervalCurve,
    MeanCumulative,
    SurvivalCurve,
)
from dutylife.reports.figures import COLOURS
from dutylife.reports.results.marks import Units, in_percent, steps, title

WORKING = "share still working [1]"


def survival(axes: Any, curve: SurvivalCurve, units: Units) -> None:
    """Draw the product-limit curve in steps, with its limits."""
    rows = curve.table
    steps(
        axes, rows["age"], rows["survival"], rows["lower"], rows["upper"], first=1.0,
        label="as seen", range_label=in_percent(curve.level),
    )  # fmt: skip
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel=WORKING, ylim=(0, 1.02))
    title(axes, curve.text)


def hazard(axes: Any, curve: CumulativeHazard, units: Units) -> None:
    """Draw the cumulative hazard in steps, with its limits."""
    rows = curve.table
    steps(
        axes, rows["age"], rows["cumulative_hazard"], rows["lower"], rows["upper"], first=0.0,
        label="as seen", range_label=in_percent(curve.level),
    )  # fmt: skip
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel="cumulative hazard [1]")
    axes.set_ylim(0, None)
    title(axes, curve.text)


def mean_events(axes: Any, curve: MeanCumulative, units: Units) -> None:
    """Draw the mean number of events of a unit in steps, with its limits."""
    rows = curve.table
    steps(
        axes, rows["age"], rows["mean_events"], rows["lower"], rows["upper"], first=0.0,
        label="mean of the units watched", range_label=in_percent(curve.level),
    )  # fmt: skip
    axes.set(xlabel=f"age of the unit [{units.age}]", ylabel="events of a unit so far, mean [1]")
    axes.set_ylim(0, None)
    title(axes, curve.text)


def causes(axes: Any, curves: CauseCurves, units: Units) -> None:
    """Draw the share failed by each cause in steps, with its limits."""
    if len(curves.causes) > len(COLOURS):
        raise RunError(
            f"{len(curves.causes)} causes are too many for one figure; {len(COLOURS)} can be "
            "told apart.", "plot(CauseCurves)", "put the rare causes together before fitting",
        )  # fmt: skip
    for place, (cause, of) in enumerate(curves.table.groupby("cause", sort=False)):
        told = in_percent(curves.level) + " of each" if place == 0 else None
        steps(
            axes, of["age"], of["incidence"], of["lower"], of["upper"], first=0.0, place=place,
            label=f"cause {cause}", range_label=told,
        )  # fmt: skip
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel="share failed from the cause [1]")
    axes.set_ylim(0, None)
    title(axes, curves.text)


def looks(axes: Any, curve: IntervalCurve, units: Units) -> None:
    """Draw the share working where looks tell it, and a box where it falls somewhere inside."""
    table = curve.table
    rows = table[table["mass"] > 0]
    ends = rows[np.isfinite(rows["upper"])]
    last = float(ends["upper"].max()) if len(ends) else float(rows["lower"].max())
    if not last > 0:
        last = 1.0
    here, height = 0.0, 1.0
    row: Any
    for place, row in enumerate(rows.itertuples(index=False)):
        told = "known" if place == 0 else None
        axes.plot([here, row.lower], [height, height], color=COLOURS[0], linewidth=2, label=told)
        right = row.upper if np.isfinite(row.upper) else last * 1.15
        axes.fill_between(
            [row.lower, right], row.survival, height, color=COLOURS[1], alpha=0.15,
            hatch="///", edgecolor=COLOURS[1], linewidth=0.8,
            label="falls somewhere in here" if place == 0 else None,
        )  # fmt: skip
        here, height = right, float(row.survival)
    if here < last * 1.15 and height > 0:
        axes.plot([here, last * 1.15], [height, height], color=COLOURS[0], linewidth=2)
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel=WORKING, ylim=(0, 1.02))
    title(axes, curve.text)


DRAWN = {
    SurvivalCurve: survival,
    CumulativeHazard: hazard,
    MeanCumulative: mean_events,
    CauseCurves: causes,
    IntervalCurve: looks,
}
