"""Stock page: what more money on the shelf brings, and what lies there beyond any need."""

from collections.abc import Callable
from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.facts import Facts, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.tables import Shown, amount, figure_column, html_table, whole
from dutylife.stock.money_curve import MoneyCurve

MOST_LINES = 12
LEAST_MONTHS = 24.0  # of use beyond the level, from which on a part is listed; our proposal


def days(value: float) -> str:
    """Return days, whole: nobody waits a tenth of one."""
    return whole(round(value))


def curve_of(run: Run) -> MoneyCurve:
    """The run's curve of money against waiting."""
    given, rows = facts_of(run), plain(run.table("stock_plan"))
    curve = table_or_empty(run, "money_curve")
    unknown = rows["unit_cost"].isna()
    if (curve["point"] == "as it stands").any():
        unknown |= rows["on_hand"].isna()
    return MoneyCurve(table=curve, currency=given.currency, n_left_out=int(unknown.sum()))


def what_it_protects(run: Run) -> str:
    """Say what today's order spares; blank where the shelf is not counted or nothing is bought."""
    curve = curve_of(run)
    before, after = curve.at("as it stands"), curve.at("with the order")
    if not (before and after):
        return ""
    if after["levels_cost"] <= before["levels_cost"]:
        return ""
    return (
        f"It lifts the share of pieces given at once from {wording.share(before['fill_rate'])} to "
        f"{wording.share(after['fill_rate'])}; left as it is, people would wait "
        f"{days(before['waiting_days'] / 12)} days a month for parts, summed over pieces, with it "
        f"{days(after['waiting_days'] / 12)}."
    )


def money_and_waiting(run: Run) -> Section:
    """Return the curve of money in the levels against waiting, and what each share costs."""
    given, curve = facts_of(run), curve_of(run)
    rows = plain(curve.table)
    title = "What more money on the shelf brings"
    if rows.empty:
        return Section(title, curve.text)
    said = [
        "Counted at the levels that spare most waiting for the money: the next piece is always the "
        "one that spares most. Planned work is not waited for: its day can be set. An order holds "
        "more than the best list for the same share, since it comes in packs and in lots that last "
        "for months."
    ]
    if curve.n_left_out:
        said.append(
            f"{wording.count(curve.n_left_out, 'part')} left out: cost or count is not known."
        )
    named = rows[rows["point"] != "curve"].sort_values("levels_cost", kind="stable")
    shown = [
        Shown(name="point", heading="shelf"),
        figure_column("fill_rate", "given at once", "share of pieces", write=wording.share),
        figure_column("waiting_days", "waited in a year", "days, summed over pieces", write=days),
        figure_column("levels_cost", "money in the levels", given.money_unit, write=amount),
        figure_column("pieces", "pieces", ""),
    ]
    table = html_table(named, shown, caption="Shelf as it stands and by share given at once.")
    figure = figures.as_figure(_drawer(rows, given))
    return Section(title, curve.text, tuple(said), (table, side_by_side([figure])))


def _drawer(rows: pd.DataFrame, given: Facts) -> Callable[[Any], str]:
    return lambda axes: draw_money(axes, rows, given.money_unit)


def draw_money(axes: Any, rows: pd.DataFrame, money_unit: str) -> str:
    """Days waited by the money in the levels, with the shelf as it stands and with the order.

    Parameters
    ----------
    axes : Axes
    rows : DataFrame, table "money_curve"
    money_unit : str

    Returns
    -------
    str
        What the figure shows.
    """
    curve = rows[rows["point"] == "curve"].sort_values("levels_cost")
    axes.plot(
        curve["levels_cost"], curve["waiting_days"], color=figures.COLOURS[0], linewidth=2,
        label="best list for the money",
    )  # fmt: skip
    for place, (point, marker) in enumerate((("as it stands", "o"), ("with the order", "D"))):
        at = rows[rows["point"] == point]
        axes.plot(
            at["levels_cost"], at["waiting_days"], linestyle="none", marker=marker, markersize=8,
            color=figures.COLOURS[1 + place], label=point,
        )  # fmt: skip
    axes.set(
        xlabel=f"money in the levels [{money_unit}]", ylabel="days waited in a year",
        xlim=(0, None), ylim=(0, None),
    )  # fmt: skip
    axes.legend(loc="upper right")
    first, last = curve.iloc[0], curve.iloc[-1]
    return (
        f"Days waited fall from {days(first['waiting_days'])} with an empty shelf to "
        f"{days(last['waiting_days'])} at {wording.money(float(last['levels_cost']), money_unit)}"
        " in the levels; each further piece spares less."
    )


def excess(run: Run) -> Section:
    """Return parts of which more lies on the shelf than years will use."""
    given, rows = facts_of(run), plain(run.table("stock_plan"))
    forecast = plain(run.table("demand_forecast"))
    forecast = forecast[
        (forecast["plan"] == given.plan_in_force) & (forecast["from_date"] == given.span_from)
    ]
    longest = forecast.sort_values("months").drop_duplicates("part_number", keep="last")
    rate = (longest["mean"] / longest["months"]).set_axis(longest["part_number"])
    position = rows["on_hand"] + rows["on_order"].fillna(0.0)
    rows = rows.assign(beyond=position - rows["order_up_to"], a_month=rows["part_number"].map(rate))
    rows = rows[(rows["beyond"] > 0) & (rows["beyond"] > LEAST_MONTHS * rows["a_month"])]
    rows = rows.assign(
        lasts=[
            "over 10 years" if not m > 0 or b / m > 120 else f"{wording.number(b / m, 2)} months"
            for b, m in zip(rows["beyond"], rows["a_month"], strict=True)
        ],
        tied_up=rows["beyond"] * rows["unit_cost"],
    ).sort_values(["tied_up", "part_number"], ascending=[False, True], na_position="last")
    title = "More than is needed"
    if rows.empty:
        return Section(
            title, f"No counted part lies {LEAST_MONTHS / 12:.0f} years of use beyond its level."
        )
    freed = float(rows["tied_up"].sum())
    priced = int(rows["tied_up"].notna().sum())
    answer = (
        f"{wording.count(len(rows), 'part')} {'lies' if len(rows) == 1 else 'lie'} more than "
        f"{LEAST_MONTHS / 12:.0f} years of use beyond what is to be held"
        + (
            f"; running them down to their levels frees {wording.money(freed, given.currency)}, at "
            f"what {'they' if priced > 1 else 'it'} cost."
            if priced
            else "."
        )
    )
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="description", heading="description", under=True),
        figure_column("on_hand", "on hand", "pieces"),
        figure_column("order_up_to", "to be held", "pieces at most"),
        figure_column("beyond", "beyond", "pieces"),
        Shown(name="lasts", heading="lasts", number=True),
        figure_column("tied_up", "frees", given.money_unit, write=amount),
    ]
    table = html_table(
        rows.head(MOST_LINES), shown,
        caption="Do not order these; what they bring back if the supplier takes them is his to say."
        + ("" if len(rows) <= MOST_LINES else f" The first {MOST_LINES} by money."),
    )  # fmt: skip
    return Section(title, answer, (), (table,))
