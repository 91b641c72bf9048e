"""Pictures of stock questions: levels and what they give, orders, budgets, forecasts."""

import math
from typing import Any

import numpy as np

from dutylife import wording
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import Units, title
from dutylife.stock import (
    BaseStock,
    BenchLoad,
    BudgetAllocation,
    GammaPoisson,
    IntermittentForecast,
    Newsvendor,
    OrderQuantity,
    OrderUpToPolicy,
    ReorderPolicy,
)

CYCLES = 3  # orders drawn one after another


def base_stock(axes: Any, found: BaseStock, units: Units) -> None:  # noqa: ARG001
    """Draw what each level gives, by three measures, and the level chosen."""
    rows = found.table
    kinds = (
        ("fill_rate", "pieces given (fill rate)"),
        ("ready_rate", "nothing is short (ready rate)"),
        ("immediate_fill_rate", "next piece is there"),
    )
    for place, (column, name) in enumerate(kinds):
        axes.plot(
            rows["level"], rows[column], color=COLOURS[place], linestyle=DASHES[place],
            marker="osD"[place], markersize=4, linewidth=1.8, label=name,
        )  # fmt: skip
    axes.axvline(found.level, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.6,
                 label=f"held: {wording.number(found.level)}")  # fmt: skip
    axes.set(xlabel="level on shelf and on order [pieces]", ylabel="share [1]", ylim=(0, 1.02))
    title(axes, found.text)


def reorder(axes: Any, found: ReorderPolicy, units: Units) -> None:  # noqa: ARG001
    """Draw how stock runs down between orders, on the shelf and with what is on order."""
    lines = (
        ("on shelf and on order, less owed", found.reorder_point),
        ("on the shelf, less owed: mean as orders arrive", found.safety_stock),
    )
    for place, (name, foot) in enumerate(lines):
        time, level = [], []
        for cycle in range(CYCLES):
            time += [cycle, cycle + 1.0]
            level += [foot + found.order_quantity, foot]
        axes.plot(
            time, level, color=COLOURS[place], linestyle=DASHES[place], linewidth=2, label=name
        )
    for place, (at, name) in enumerate(
        ((found.reorder_point, "reorder point"), (found.safety_stock, "safety stock"))
    ):
        axes.axhline(
            at, color=COLOURS[2 + place], linestyle=DASHES[2 + place], linewidth=1.3,
            label=f"{name} {wording.number(at)}",
        )  # fmt: skip
    axes.set(xlabel="time [orders]", ylabel="stock [pieces]", xlim=(0, CYCLES))
    low, high = axes.dataLim.intervaly
    axes.set_ylim(min(0.0, 1.1 * low), high + 0.75 * (high - min(low, 0.0)))  # room for the legend
    axes.set_xticks(range(CYCLES + 1))
    title(axes, found.text)


def _bars(axes: Any, bars: list[tuple[str, float]], unit: str) -> None:
    """Draw a bar for each known figure with its number at the end; the first one on top."""
    known = [(name, value) for name, value in bars if math.isfinite(value)]
    place = np.arange(len(known))[::-1]
    values = [value for _, value in known]
    axes.barh(place, values, color=COLOURS[0], height=0.6, edgecolor="#17211f", linewidth=0.6)
    for at, value in zip(place, values, strict=True):
        axes.annotate(wording.number(value, 4), (value, at), xytext=(4, 0), va="center",
                      textcoords="offset points", fontsize=9)  # fmt: skip
    axes.set_yticks(place, [name for name, _ in known])
    axes.axvline(0.0, color="#17211f", linewidth=0.8)
    low, high = min(0.0, *values), max(0.0, *values)
    axes.set_xlim(1.15 * low, high + 0.15 * (high - low or 1.0))
    axes.set_xlabel(unit)


def newsvendor(axes: Any, found: Newsvendor, units: Units) -> None:  # noqa: ARG001
    """Draw what is bought, and what is expected to be left and to be short."""
    _bars(
        axes,
        [("bought", found.quantity), ("left over, mean", found.left_over),
         ("short, mean", found.short)],
        "pieces [pieces]",
    )  # fmt: skip
    axes.set_ylabel("what happens to them")
    axes.set_xlabel("quantity [pieces]")
    title(axes, found.text)


def order_quantity(axes: Any, found: OrderQuantity, units: Units) -> None:
    """Draw the parts of the yearly cost."""
    bars = [
        ("ordering", found.order_cost_per_year), ("holding", found.holding_cost_per_year),
        ("pieces owed", found.backorder_cost_per_year), ("together", found.cost_per_year),
    ]  # fmt: skip
    _bars(axes, bars, f"cost [{units.money} per year]")
    axes.set_ylabel("part of the cost")
    title(axes, found.text)


def order_up_to(axes: Any, found: OrderUpToPolicy, units: Units) -> None:  # noqa: ARG001
    """Draw how often stock stands where after ordering."""
    axes.bar(found.positions, found.shares, color=COLOURS[0], width=0.7, edgecolor="#17211f",
             linewidth=0.6, label="after a review")  # fmt: skip
    for place, (at, name) in enumerate(
        ((found.reorder_point, "reorder at or below"), (found.order_up_to, "order up to"))
    ):
        axes.axvline(at, color=COLOURS[1 + place], linestyle=DASHES[1 + place], linewidth=1.8,
                     label=f"{name} {at}")  # fmt: skip
    axes.set(xlabel="on shelf and on order [pieces]", ylabel="share of reviews [1]")
    title(axes, found.text)


def budget(axes: Any, found: BudgetAllocation, units: Units) -> None:
    """Draw what each further piece buys, and where the budget ends."""
    rows = found.table
    axes.plot(rows["cost"], rows["ready_rate"], color=COLOURS[0], marker="o", markersize=4,
              linewidth=1.6, label="no part is short")  # fmt: skip
    if rows["availability"].notna().any():
        axes.plot(
            rows["cost"], rows["availability"], color=COLOURS[1], linestyle=DASHES[1], marker="s",
            markersize=4, linewidth=1.6, label="machines wait for no part",
        )  # fmt: skip
    axes.axvline(found.cost, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.6, label="bought")
    axes.set(xlabel=f"money in parts [{units.money}]", ylabel="share [1]", ylim=(0, 1.02))
    title(axes, found.text)


def intermittent(axes: Any, found: IntermittentForecast, units: Units) -> None:  # noqa: ARG001
    """Draw demand by period, what was forecast for it, and the periods to come."""
    rows = found.table
    axes.bar(rows["period"], rows["demand"], color="#aebbb5", width=0.7, edgecolor="#4a5653",
             linewidth=0.6, label="demand")  # fmt: skip
    n = len(found.demand)
    axes.plot(rows["period"][:n], rows["forecast"][:n], color=COLOURS[0], linewidth=1.8,
              marker="o", markersize=3, label="forecast the period before")  # fmt: skip
    axes.plot(rows["period"][n:], rows["forecast"][n:], color=COLOURS[1], linestyle=DASHES[1],
              marker="D", markersize=4, linewidth=1.8, label="periods to come")  # fmt: skip
    axes.axvline(n + 0.5, color=COLOURS[4], linestyle=DASHES[2], linewidth=1.2)
    axes.set(xlabel="period [1]", ylabel="demand [pieces a period]")
    axes.set_ylim(0, 1.35 * max(1.0, float(np.nanmax(found.demand))))  # room for the legend
    title(axes, found.text)


def steady_rate(axes: Any, found: GammaPoisson, units: Units) -> None:
    """Draw the mean time between failures that is exceeded with each chance."""
    rows = found.table
    axes.plot(rows["mean_time_between"], rows["chance"], color=COLOURS[0], marker="o",
              linewidth=1.8, label="what is known now")  # fmt: skip
    axes.set(xlabel=f"mean time between failures [{units.age}]",
             ylabel="chance that it is more [1]", ylim=(0, 1.02))  # fmt: skip
    axes.set_xlim(0, None)
    title(axes, found.text)


def bench(axes: Any, found: BenchLoad, units: Units) -> None:  # noqa: ARG001
    """Draw the weeks ahead of all machines together."""
    from dutylife.reports.stock.bench_load import draw_weeks
    from dutylife.stock.bench.arrivals import ALL

    draw_weeks(axes, found.table[found.table["equipment_class"] == ALL])
    title(axes, found.text)


DRAWN = {
    BenchLoad: bench,
    BaseStock: base_stock,
    ReorderPolicy: reorder,
    Newsvendor: newsvendor,
    OrderQuantity: order_quantity,
    OrderUpToPolicy: order_up_to,
    BudgetAllocation: budget,
    IntermittentForecast: intermittent,
    GammaPoisson: steady_rate,
}
