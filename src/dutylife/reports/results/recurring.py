"""Pictures of events that come again, their trend, and readings that drift to a limit."""

from typing import Any

import numpy as np

from dutylife import wording
from dutylife.models import OrderTest, PathModel, PowerLaw, TrendTests
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import Units, in_percent, plain_numbers, title

MOST_PATHS = 200  # parts whose readings are joined by lines; more blur into one


def power_law(axes: Any, fitted: PowerLaw, units: Units) -> None:
    """Draw expected failures of a unit by age, by likelihood and without bias."""
    age = np.linspace(0.0, fitted.end, 200)
    span = " to ".join(wording.number(end) for end in fitted.power_bounds())
    lines = (
        (
            f"by likelihood ({in_percent(fitted.level)} of the power {span})",
            fitted.rate,
            fitted.power,
        ),
        ("free of bias", fitted.rate_unbiased, fitted.power_unbiased),
    )
    for place, (name, rate, power) in enumerate(lines):
        axes.plot(
            age, rate * age**power, color=COLOURS[place], linestyle=DASHES[place], linewidth=2,
            label=f"power {wording.number(power)}, {name}",
        )  # fmt: skip
    axes.set(xlabel=f"age of the unit [{units.age}]", ylabel="failures of a unit so far, mean [1]")
    axes.set(xlim=(0, None), ylim=(0, None))
    title(axes, fitted.text)


def trend(axes: Any, found: TrendTests, units: Units) -> None:  # noqa: ARG001
    """Draw the chance of each test at a steady rate, of as slow and of as fast a coming."""
    table = found.table.dropna()  # the last test is for one unit only
    place = np.arange(len(table))[::-1]
    axes.set_xscale("log")
    kinds = (("p_improving", "as slow", "o"), ("p_deteriorating", "as fast", "D"))
    for number, (column, word, marker) in enumerate(kinds):
        chance = table[column].to_numpy(float)
        axes.plot(
            np.clip(chance, 1e-4, 1.0), place, linestyle="none", marker=marker, markersize=8,
            color=COLOURS[number], label=f"comes {word} at a steady rate",
        )  # fmt: skip
    axes.axvline(0.05, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4, label="0.05")
    axes.set_yticks(place, [str(n) for n in table.index])
    axes.set(ylim=(-2.0, len(table) - 0.4), xlim=(8e-5, 1.4), ylabel="test")
    plain_numbers(axes.xaxis)
    axes.set_xlabel("chance, log scale; 0.0001 stands for that and less [1]")
    title(axes, found.text)


def paths(axes: Any, model: PathModel, units: Units) -> None:
    """Draw readings joined by part, the mean path, and where new parts reach the limit."""
    sign = 1.0 if model.direction == "up" else -1.0
    rows = model.rows

    def shown(value: Any) -> Any:
        return np.exp(value) if model.scale == "log" else value

    reading = shown(sign * rows.reading)
    for part in range(min(rows.n_parts, MOST_PATHS)):
        mine = rows.code == part
        axes.plot(
            rows.age[mine], reading[mine], color=COLOURS[0], alpha=0.45, linewidth=0.8,
            marker=".", markersize=3, label="readings, joined by part" if part == 0 else None,
        )  # fmt: skip
    last = float(rows.age.max())
    if model.limit is not None:
        last = _limit(axes, model, last)
    age = np.linspace(0.0, last, 100)
    axes.plot(
        age, shown(model.start + model.drift * age), color=COLOURS[1], linestyle=DASHES[1],
        linewidth=2, label="mean path",
    )  # fmt: skip
    axes.set(xlabel=f"age of the part [{units.age}]", ylabel="reading [as measured]")
    axes.set_xlim(0, None)
    title(axes, model.text)


def _limit(axes: Any, model: PathModel, last: float) -> float:
    """Draw the limit and the ages at which new parts reach it; how far to draw."""
    axes.axhline(model.limit, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4, label="limit")
    row = model.time_to_limit().iloc[0]
    ends = np.array([row["lower"], row["age_at_limit"], row["upper"]], dtype=float)
    if not np.isfinite(ends[:2]).all():
        return last
    reach = ends[2] if np.isfinite(ends[2]) else max(2.0 * last, 1.5 * ends[1])
    axes.plot(
        [ends[0], reach], [model.limit] * 2, color="#17211f", linewidth=4, alpha=0.7,
        solid_capstyle="butt", label=f"new parts reach it, {in_percent(model.level)}",
    )  # fmt: skip
    axes.plot(ends[1:2], [model.limit], marker="D", color="#17211f", linestyle="none",
              label="half have reached it")  # fmt: skip
    return float(max(last, ends[1]))


def order(axes: Any, found: OrderTest, units: Units) -> None:  # noqa: ARG001
    """Draw the test's figure on the normal law that it has where each part starts again."""
    at = np.linspace(-4.0, 4.0, 200)
    axes.plot(at, np.exp(-(at**2) / 2.0) / np.sqrt(2.0 * np.pi), color=COLOURS[0], linewidth=2,
              label="renewals")  # fmt: skip
    for place, edge in enumerate((-1.96, 1.96)):
        axes.axvline(edge, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4,
                     label=None if place else "19 of 20 renewals lie between")  # fmt: skip
    axes.axvline(found.z, color=COLOURS[1], linewidth=2.5, linestyle=DASHES[1], label="this record")
    axes.set(xlabel="order test: above 0, later lives end sooner [1]", ylabel="density [1]")
    axes.set(ylim=(0, 0.55), xlim=(min(-4.0, found.z - 0.5), max(4.0, found.z + 0.5)))
    title(axes, found.text)


DRAWN = {OrderTest: order, PowerLaw: power_law, TrendTests: trend, PathModel: paths}
