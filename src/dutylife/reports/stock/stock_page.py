"""Stock page: what to order today, what will be asked for, what lies on the shelf."""

from collections.abc import Callable
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.stock.assumed import what_is_assumed
from dutylife.reports.stock.safety_work import safety_sentence, safety_table, safety_work
from dutylife.reports.stock.shelf_money import what_it_protects
from dutylife.reports.tables import (
    Shown,
    amount,
    date_column,
    figure_column,
    html_table,
    whole,
)

SPANS = (1.0, 3.0, 6.0)  # months
DEAD_DAYS = 365  # a part nobody bought for a year
TOP_FIGURES = 3
LONG_MONTHS = 24


def order_answer(stock_plan: pd.DataFrame, currency: str) -> str:
    """Say what to order today, for how much, and which shelves nobody has counted.

    Parameters
    ----------
    stock_plan : DataFrame, table "stock_plan"
    currency : str

    Returns
    -------
    str
    """
    if stock_plan.empty:
        return (
            "No order list: the record names no part by number. Have the number written on each "
            "part line, or give a parts file."
        )
    orders = stock_plan[stock_plan["order_now"] > 0]
    unknown = int((stock_plan["on_hand"].isna() & (stock_plan["reorder_point"] > 0)).sum())
    of_all = wording.count(len(stock_plan), "part")
    if unknown == len(stock_plan):
        return (
            f"No shelf count was read, so that nothing can be ordered: count {of_all}, or name the "
            "column of a parts file that says how many lie there (on_hand)."
        )
    if orders.empty:
        text = f"Nothing to order today: none of the {of_all} with a known shelf is below its level"
    else:
        unpriced = int(orders["order_cost"].isna().sum())
        cost = wording.money(float(orders["order_cost"].sum()), currency)
        text = (
            f"Order {wording.count(orders['order_now'].sum(), 'piece')} of "
            f"{wording.count(len(orders), 'part')} today, {cost}"
            + (f" and {wording.count(unpriced, 'part')} of unknown cost" if unpriced else "")
            + f": {len(orders)} of {of_all} {'is' if len(orders) == 1 else 'are'} below their level"
        )
        needed = plain(orders)["needed_by"].dropna()
        if len(needed):
            text += f"; the first may run out on {day(needed.min())}"
    if unknown:
        text += (
            f". {wording.count(unknown, 'shelf has', 'shelves have')} no count: count them "
            "before ordering those parts"
        )
    return text + "."


def order_lines(stock_plan: pd.DataFrame) -> pd.DataFrame:
    """Return the lines of today's order, soonest need first, then the shelves to count.

    Parameters
    ----------
    stock_plan : DataFrame, table "stock_plan"

    Returns
    -------
    DataFrame
        The table's columns and ``what_to_do`` in words.
    """
    rows = plain(stock_plan)
    ordered = rows["order_now"].fillna(0) > 0
    to_count = rows["on_hand"].isna() & (rows["reorder_point"] > 0) & ~ordered
    rows = rows.assign(what_to_do="", to_count=to_count)
    rows.loc[ordered, "what_to_do"] = [
        f"order {whole(n)}{_packs(n, pack)}"
        for n, pack in zip(rows.loc[ordered, "order_now"], rows.loc[ordered, "pack_size"],
                           strict=True)
    ]  # fmt: skip
    rows.loc[to_count, "what_to_do"] = [
        f"hold {whole(n)}, count the shelf" for n in rows.loc[to_count, "reorder_point"]
    ]
    rows = rows[ordered | to_count]
    return rows.sort_values(
        ["to_count", "needed_by", "order_cost", "part_number"],
        ascending=[True, True, False, True],
        na_position="last",
    ).reset_index(drop=True)


def _packs(pieces: float, pack: float) -> str:
    """Whole packs in words; blank where a part is sold singly."""
    if not pack > 1:
        return ""
    return f"\n{wording.count(round(pieces / pack), 'pack')} of {whole(pack)}"


def order_today(run: Run) -> Section:
    """Return today's order, line by line."""
    given, stock_plan = facts_of(run), run.table("stock_plan")
    lines = order_lines(stock_plan)
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="description", heading="description", under=True),
        Shown(name="what_to_do", heading="do today"),
        figure_column("on_hand", "on hand", "pieces", missing="not counted"),
        figure_column("on_order", "on order", "pieces", missing="not said"),
        date_column("needed_by", "may run out", missing="not soon"),
        Shown(name="range", heading="expected need", unit="usual to high", number=True),
        Shown(name="lasts", heading="then lasts", unit="months", number=True),
        figure_column("order_cost", "money", given.money_unit, write=amount, missing=""),
    ]
    lines["range"] = _ranges(lines)
    lines["lasts"] = _months_it_lasts(lines, run.table("demand_forecast"), given)
    lines["order_cost"] = lines["order_cost"].mask(lines["to_count"])
    table = html_table(
        lines,
        shown,
        caption="May run out: from that day a piece is lacking more often than the aim allows (no "
        "count: one is likelier wanted than not). Expected need: until the next order can be here, "
        "half of all such spans at or under the first figure, 9 in 10 under the second.",
        none="No part is below its level and every shelf is counted.",
    )
    pending = safety_work(
        table_or_empty(run, "machine_tasks"), stock_plan, pd.Timestamp(given.as_of),
        table_or_empty(run, "maintenance_events"),
    )  # fmt: skip
    pending = None if stock_plan.empty else pending
    more = safety_sentence(pending, stock_plan, given) if pending else ""
    ask_more = visits_ask_more(run.table("demand_forecast"), given)
    follows = (
        f"This order takes it that {wording.plan_words(given.plan_in_force)}; what the proposed "
        "visits would ask for beyond it stands under What will be asked for."
    )
    told = [what_it_protects(run), more, what_is_assumed(run), follows if ask_more else ""]
    parts = [Markup('<div class="order">{}</div>').format(table)]
    if pending is not None and more and len(pending.parts):
        parts.append(safety_table(pending, given))
    return Section(
        "", order_answer(stock_plan, given.currency), tuple(t for t in told if t), tuple(parts)
    )


def visits_ask_more(forecast: pd.DataFrame, given: Facts) -> str:
    """Say what the visits of the maintenance page ask for beyond the plan this order follows.

    Parameters
    ----------
    forecast : DataFrame, table "demand_forecast"
    given : Facts

    Returns
    -------
    str
        Blank where the recommended plan is in force, or asks for the same.
    """
    spans = _spans(forecast, given)
    month = spans[spans["months"] == SPANS[0]].groupby("plan")["mean"].sum()
    if given.plan_in_force == "recommended" or not {given.plan_in_force, "recommended"} <= set(
        month.index
    ):
        return ""
    now, advised = float(month[given.plan_in_force]), float(month["recommended"])
    if round(advised) == round(now):
        return ""
    return (
        f"Were the visits of the maintenance page kept from tomorrow, about "
        f"{whole(round(advised))} pieces would be asked for in the next month instead of "
        f"{whole(round(now))}; the guide to the pages says how to have the order follow them."
    )


def _months_it_lasts(lines: pd.DataFrame, forecast: pd.DataFrame, given: Facts) -> list[str]:
    """Months that shelf, open orders and today's order last at the rate of the longest span."""
    spans = _spans(forecast, given)
    spans = spans[(spans["plan"] == given.plan_in_force) & (spans["mean"] > 0)]
    spans = spans.sort_values("months").drop_duplicates("part_number", keep="last")
    rate = lines["part_number"].map(
        (spans["mean"] / spans["months"]).set_axis(spans["part_number"])
    )
    held = lines["on_hand"] + lines["on_order"].fillna(0) + lines["order_now"]
    return [
        "" if pd.isna(m) else f"over {LONG_MONTHS}" if m > LONG_MONTHS else wording.number(m, 2)
        for m in held / rate
    ]


def _ranges(rows: pd.DataFrame) -> list[str]:
    """Range p50 to p90 of each row in pieces; blank where the forecast has none."""
    return [
        "" if pd.isna(low) or pd.isna(high)
        else whole(low) if whole(low) == whole(high) else f"{whole(low)} to {whole(high)}"
        for low, high in zip(rows["p50"], rows["p90"], strict=True)
    ]  # fmt: skip


def why(run: Run) -> Section:
    """Return the sentence behind each line of the order."""
    lines = order_lines(run.table("stock_plan"))
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="sentence", heading="why", wide=True),
    ]
    table = html_table(
        lines,
        shown,
        caption="Pieces are expected up to the day on which the next order can be there: lead time "
        "and time between reviews. More is ordered where a part comes in packs or an order costs "
        "something.",
    )
    return Section("Why", parts=(table,))


def demand(run: Run) -> Section:
    """Return demand by part for 1, 3 and 6 months, plan in force beside the recommended plan."""
    given = facts_of(run)
    spans = _spans(run.table("demand_forecast"), given)
    plans = [given.plan_in_force, "recommended"]
    parts = []
    for plan in dict.fromkeys(plans):
        rows = _wide(spans[spans["plan"] == plan])
        if plan != given.plan_in_force and rows.empty:
            continue
        is_now = plan == given.plan_in_force
        caption = (
            f"If {wording.plan_words(plan)}{' (the order follows this)' if is_now else ''}: pieces "
            f"from {day(given.span_from)}; expected, below it the range from the middle to 9 in 10."
        )
        shown = [
            Shown(name="part_number", heading="part"),
            Shown(name="component", heading="component"),
        ] + [
            Shown(
                name=f"m{span:.0f}",
                heading=f"next {wording.count(span, 'month')}",
                unit="pieces",
                number=True,
            )
            for span in SPANS
        ]
        parts.append(html_table(rows, shown, caption=caption, none="No demand is forecast."))
    sentence = (
        "The order follows the plan in force. The second table is what would be asked for if the "
        "recommended intervals were followed from tomorrow: planned work asks for more parts at "
        "first, fewer breakdowns follow later."
    )
    ask_more = visits_ask_more(run.table("demand_forecast"), given)
    told = (sentence, *([ask_more] if ask_more else []))
    return Section("What will be asked for", "", told, tuple(parts))


def _spans(forecast: pd.DataFrame, given: Facts) -> pd.DataFrame:
    rows = plain(forecast)
    return rows[(rows["from_date"] == given.span_from) & rows["months"].isin(SPANS)]


def _wide(spans: pd.DataFrame) -> pd.DataFrame:
    """One row a part, one column a span; the part most asked for first."""
    if spans.empty:
        return spans
    rows = spans.assign(
        cell=[
            f"{wording.number(m, 2)}\n{r or 'no range'}"
            for m, r in zip(spans["mean"], _ranges(spans), strict=True)
        ],
        column=spans["months"].map(lambda m: f"m{m:.0f}"),
    )
    wide = rows.pivot_table(
        index=["part_number", "component"], columns="column", values="cell", aggfunc="first"
    )
    wide = wide.reindex(columns=[f"m{s:.0f}" for s in SPANS])
    most = rows.groupby(["part_number", "component"])["mean"].max()
    order = most.sort_values(ascending=False, kind="stable").index
    return wide.loc[order].reset_index()


def demand_by_month(run: Run) -> Section:
    """Return demand by calendar month for the parts most asked for."""
    given = facts_of(run)
    rows = plain(run.table("demand_forecast"))
    rows = rows[(rows["plan"] == given.plan_in_force) & (rows["months"] == 1)]
    rows = rows[rows["from_date"].dt.day == 1]
    most = rows.groupby("part_number")["mean"].sum().sort_values(ascending=False, kind="stable")
    drawn = []
    for part in most[most > 0].index[:TOP_FIGURES]:
        months = rows[rows["part_number"] == part]
        label = f"{part}, {months['component'].iloc[0]}".rstrip(", ")
        drawn.append(figures.as_figure(_drawer(months, label)))
    sentence = (
        f"If {wording.plan_words(given.plan_in_force)}: the {len(drawn)} parts most asked for."
        if drawn
        else "No demand by month is forecast."
    )
    return Section("Demand by month", "", (sentence,), (side_by_side(drawn),))


def _drawer(months: pd.DataFrame, label: str) -> Callable[[Any], str]:
    return lambda axes: figures.draw_demand(axes, months, label)


def shelf(run: Run) -> Section:
    """Return every part: shelf, levels, service and the money tied up."""
    given, rows = facts_of(run), plain(run.table("stock_plan"))
    held = float((rows["on_hand"] * rows["unit_cost"]).sum())
    priced = (rows["on_hand"] * rows["unit_cost"]).notna().sum()
    answer = (
        f"About {wording.money(held, given.currency)} lie on the shelf in "
        f"{wording.count(priced, 'part')} whose count and cost are known."
    )
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="supplier", heading="supplier"),
        figure_column("on_hand", "on hand", "pieces"),
        figure_column("on_order", "on order", "pieces", missing="not stated"),
        figure_column("reorder_point", "order when below", "pieces"),
        figure_column("order_up_to", "order up to", "pieces"),
        figure_column("service_level", "aim", "share", write=wording.share),
        figure_column("fill_rate", "asked for and given", "share of pieces", write=wording.share),
        figure_column("ready_rate", "nothing owed", "share of deliveries", write=wording.share),
        figure_column("held_cost", "cost of holding", f"{given.money_unit} a year", write=amount),
    ]
    table = html_table(
        rows.sort_values("part_number"), shown, caption="Every part with a level or a forecast."
    )
    return Section("The whole shelf", answer, _service(run, rows), (table,))


def _service(run: Run, stock_plan: pd.DataFrame) -> tuple[str, ...]:
    """Say what the levels give over all parts, by the forecast's own laws."""
    forecast = plain(run.table("demand_forecast"))
    first = forecast[(forecast["plan"] == run.info["plan_in_force"]) & (forecast["months"] == 1)]
    asked = stock_plan["part_number"].map(first.groupby("part_number")["mean"].mean()).fillna(0.0)
    if not asked.sum() > 0:
        return ()
    given = wording.percent(float((asked * stock_plan["fill_rate"]).sum() / asked.sum()))
    aims = stock_plan["service_level"].dropna().unique()
    aim = f" where {wording.percent(float(aims[0]))} is asked for" if len(aims) == 1 else ""
    return (
        f"Once followed, these levels give {given} of the pieces asked for at once{aim}: they are "
        "the smallest that reach the aim for each part, and one piece less of a slow part often "
        "falls well short of it. Counted over the whole time between two orders, by the "
        "forecast's own uncertainty.",
    )


def dead_stock(run: Run) -> Section:
    """Return parts on the shelf that nobody asked for in a year."""
    given = facts_of(run)
    held, lines = plain(table_or_empty(run, "shelf")), plain(run.table("service_lines"))
    last = lines.loc[lines["line_kind"] == "part"].groupby("part_number")["service_date"].max()
    held = held[held["on_hand"] > 0].assign(
        last_sold=lambda d: pd.to_datetime(d["part_number"].map(last)),
        tied_up=lambda d: d["on_hand"] * d["unit_cost"],
    )
    old = pd.Timestamp(given.as_of) - pd.Timedelta(days=DEAD_DAYS)
    dead = held[held["last_sold"].isna() | (held["last_sold"] <= old)]
    dead = dead.sort_values(["tied_up", "part_number"], ascending=[False, True])
    if dead.empty:
        answer = "No counted part has gone a year without a sale."
    else:
        answer = (
            f"{wording.count(len(dead), 'part')} on the shelf had no sale in the last year, "
            f"{wording.money(float(dead['tied_up'].sum()), given.currency)} tied up."
        )
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="description", heading="description"),
        figure_column("on_hand", "on hand", "pieces"),
        figure_column("tied_up", "tied up", given.money_unit, write=amount),
        date_column("last_sold", "last sold", missing="never in this record"),
    ]
    table = html_table(
        dead, shown, caption=f"No sale in the {DEAD_DAYS} days up to {day(given.as_of)}."
    )
    return Section("No sale in a year", answer, (), () if dead.empty else (table,))
