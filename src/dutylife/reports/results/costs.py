"""Pictures of decisions: cost by interval, tests of hidden functions, renewals, joint visits."""

from typing import Any

import numpy as np

from dutylife import wording
from dutylife.decisions import (
    AgeReplacement,
    AgeReplacementDraws,
    BlockReplacement,
    FailureFindingInterval,
    InspectionInterval,
    JointIntervals,
    RenewalFunction,
)
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import Units, title

WIDEST = 10.0  # times the advised interval that is drawn at most: beyond, the curve only levels out
FLAT = 1.02  # times the least cost: what the interval's own range stands for


def _cost_curve(
    axes: Any, at: Any, cost: Any, interval: float, span: tuple[float, float], without: float,
    without_label: str,
) -> None:  # fmt: skip
    """Draw cost by interval, the advised one, the stretch nearly as cheap, doing without."""
    spacing, rate = np.asarray(at, float), np.asarray(cost, float)
    axes.plot(spacing, rate, color=COLOURS[0], linewidth=2, label="long-run cost")
    least = float(np.nanmin(rate))
    if np.isfinite(without):
        axes.axhline(without, color=COLOURS[1], linestyle=DASHES[1], label=without_label)
    if np.isfinite(interval):
        axes.plot(
            list(span), [FLAT * least] * 2, color="#17211f", linewidth=4, alpha=0.7,
            solid_capstyle="butt", label="within 2 % of the cheapest",
        )  # fmt: skip
        axes.axvline(interval, color=COLOURS[2], linestyle=DASHES[2], linewidth=2, label="cheapest")
    # costs of very short intervals rise without end: they would press the rest flat
    top = max(2.5 * least, 1.15 * without if np.isfinite(without) else 0.0)
    highest = float(np.nanmax(rate))
    axes.set_ylim(0, min(top, 1.05 * highest) if highest > 0 else 1.0)
    far = float(spacing.max())
    axes.set_xlim(0, min(far, WIDEST * interval) if np.isfinite(interval) else far)


def _per(units: Units) -> str:
    return f"[{units.money} per {units.age}]"


def age(axes: Any, found: AgeReplacement, units: Units) -> None:
    """Draw cost by replacement age."""
    span = found.interval_lower, found.interval_upper
    _cost_curve(
        axes, found.ages, found.cost_rates, found.interval, span, found.cost_rate_run_to_failure,
        "run to failure",
    )  # fmt: skip
    axes.set(xlabel=f"age at replacement [{units.age}]", ylabel=f"cost {_per(units)}")
    title(axes, found.text)


def age_draws(axes: Any, found: AgeReplacementDraws, units: Units) -> None:
    """Draw mean cost by replacement age, with its range over what is not known of the law."""
    axes.fill_between(
        found.ages, found.cost_rates_lower, found.cost_rates_upper, color=COLOURS[0], alpha=0.15,
        linewidth=0, label="range over draws of the law",
    )  # fmt: skip
    for end in (found.cost_rates_lower, found.cost_rates_upper):
        axes.plot(found.ages, end, color=COLOURS[0], linestyle=":", linewidth=1)
    _cost_curve(
        axes, found.ages, found.cost_rates, found.interval, (found.best_lower, found.best_upper),
        found.cost_rate_run_to_failure, "run to failure",
    )  # fmt: skip
    axes.set(xlabel=f"age at replacement [{units.age}]", ylabel=f"mean cost {_per(units)}")
    pays = wording.percent(found.probability_it_pays)
    told = (
        f"Replacing at {wording.number(found.best_age)} costs least; it pays with chance {pays}."
        if np.isfinite(found.interval)
        else f"No age of replacement is advised; one pays with chance {pays}."
    )
    title(axes, told)


def block(axes: Any, found: BlockReplacement, units: Units) -> None:
    """Draw cost by spacing of block replacements."""
    span = found.interval_lower, found.interval_upper
    _cost_curve(
        axes, found.intervals, found.cost_rates, found.interval, span, found.cost_rate_without,
        "without planned changes",
    )  # fmt: skip
    axes.set(xlabel=f"between block replacements [{units.age}]", ylabel=f"cost {_per(units)}")
    title(axes, found.text)


def looks(axes: Any, found: InspectionInterval, units: Units) -> None:
    """Draw cost or time down by spacing of looks."""
    span = found.interval_lower, found.interval_upper
    _cost_curve(
        axes, found.intervals, found.rates, found.interval, span, found.rate_without_looking,
        "without looking",
    )  # fmt: skip
    label = f"cost {_per(units)}" if found.criterion == "cost" else "share of time down [1]"
    axes.lines[0].set_label("long-run " + ("cost" if found.criterion == "cost" else "time down"))
    axes.set(xlabel=f"between looks [{units.age}]", ylabel=label)
    title(axes, found.text)


def failure_finding(axes: Any, found: FailureFindingInterval, units: Units) -> None:
    """Draw spacing of tests against how often the function is ready."""
    rows = found.table.sort_values("availability")
    axes.plot(
        rows["availability"], rows["interval"], color=COLOURS[0], marker="o", markersize=7,
        linestyle=DASHES[0] if len(rows) > 1 else "none",
        label="spacing, exact" if found.exact else "spacing, first-order formula",
    )  # fmt: skip
    row: Any
    for row in rows.itertuples():
        axes.annotate(f"every {wording.number(row.interval)}", (row.availability, row.interval),
                      xytext=(6, 5), textcoords="offset points", fontsize=8.5)  # fmt: skip
    axes.axhline(
        found.mean_time_to_fail, color=COLOURS[1], linestyle=DASHES[1], label="mean time to fail"
    )
    axes.set(xlabel="mean share of time ready [1]", ylabel=f"between tests [{units.age}]")
    axes.set_ylim(0, 1.15 * max(found.mean_time_to_fail, float(rows["interval"].max())))
    low, high = axes.get_xlim()
    axes.set_xlim(low, high + 0.12 * (high - low))
    title(axes, found.text)


def renewals(axes: Any, found: RenewalFunction, units: Units) -> None:
    """Draw expected renewals by age, the line they near, and how far figures still moved."""
    rows = found.table
    axes.fill_between(
        rows["age"], rows["expected"] - rows["error"], rows["expected"] + rows["error"],
        color=COLOURS[0], alpha=0.2, linewidth=0, label="last move of the calculation",
    )  # fmt: skip
    axes.plot(rows["age"], rows["expected"], color=COLOURS[0], linewidth=2, label="expected",
              marker="o" if len(rows) < 15 else None)  # fmt: skip
    if rows["asymptote"].notna().any():
        axes.plot(rows["age"], rows["asymptote"], color=COLOURS[1], linestyle=DASHES[1],
                  linewidth=1.6, label="line it nears")  # fmt: skip
    axes.set(xlabel=f"age of the position [{units.age}]", ylabel="renewals so far, mean [1]")
    axes.set(xlim=(0, None), ylim=(0, None))
    title(axes, found.text)


def joint(axes: Any, found: JointIntervals, units: Units) -> None:
    """Draw at which visits each item is done, over two rounds of the rarest."""
    visits = 2 * max(found.multiples)
    if visits > 60:
        visits = max(found.multiples)
    place = np.arange(len(found.names))[::-1]
    for number, at in enumerate(place):
        done = np.arange(1, visits // found.multiples[number] + 1) * found.intervals[number]
        axes.plot(
            done, np.full(len(done), at), linestyle="none", marker="o", markersize=7,
            color=COLOURS[0], label="item is done" if number == 0 else None,
        )  # fmt: skip
    for visit in range(1, visits + 1):
        axes.axvline(
            visit * found.base_interval, color="#4a5653", linestyle=DASHES[2], linewidth=0.8,
            zorder=0, label="visit" if visit == 1 else None,
        )  # fmt: skip
    names = [f"{n} (every {k})" for n, k in zip(found.names, found.multiples, strict=True)]
    axes.set_yticks(place, names)
    axes.set(xlabel=f"time [{units.age}]", ylabel="item")
    axes.set_xlim(0, (visits + 0.4) * found.base_interval)
    axes.set_ylim(-0.6, len(names) - 0.4)
    title(axes, found.text)


DRAWN = {
    AgeReplacement: age,
    AgeReplacementDraws: age_draws,
    BlockReplacement: block,
    InspectionInterval: looks,
    FailureFindingInterval: failure_finding,
    RenewalFunction: renewals,
    JointIntervals: joint,
}
