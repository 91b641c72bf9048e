"""Stock page: what to order ahead of a season, where a supplier takes such an order."""

import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, amount, figure_column, html_table

TITLE = "Before the season"


def before_the_season(run: Run) -> Section:
    """Return what to order ahead of each season stated in the settings; nothing where none is."""
    given, rows = facts_of(run), plain(table_or_empty(run, "season_orders"))
    if rows.empty:
        return Section("", "")
    rows = rows.sort_values(["order_by", "season", "part_number"], kind="stable")
    told = [_answer(str(name), of, given) for name, of in rows.groupby("season", sort=False)]
    unknown = rows["order_ahead"].isna()
    also = [*told[1:], "This order comes on top of today's and of those within the season."]
    if unknown.any():
        also.append(
            f"{wording.count(int(unknown.sum()), 'part')} left out: cost or count is not known."
        )
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="description", heading="description", under=True),
        Shown(name="season", heading="season"),
        figure_column("p50", "expected", "pieces"),
        figure_column("p90", "9 in 10 stay under", "pieces"),
        figure_column("left_at_start", "left by then", "pieces", missing=""),
        figure_column("order_ahead", "order", "pieces", missing=""),
        figure_column("order_cost", "money", given.money_unit, write=amount, missing=""),
        figure_column("gain_money", "saves", given.money_unit, write=amount, missing=""),
        Shown(name="sentence", heading="why", wide=True),
    ]
    # what to order first, in the order of what it saves
    to_order = rows[rows["order_ahead"] > 0].sort_values(
        ["order_by", "season", "gain_money"], ascending=[True, True, False], kind="stable"
    )
    table = html_table(to_order, shown, caption="To order ahead, by what it saves.",
                       none="No part is worth ordering ahead.")  # fmt: skip
    return Section(TITLE, told[0], tuple(also), (table,))


def _answer(name: str, rows: pd.DataFrame, given: Facts) -> str:
    first = rows.iloc[0]
    when = f"{day(first['from_date'])} to {day(first['until_date'])}"
    chosen = rows[rows["order_ahead"] > 0]
    if chosen.empty:
        return f"Nothing is worth ordering ahead of the {name} ({when})."
    pieces = wording.count(int(chosen["order_ahead"].sum()), "piece")
    return (
        f"Order {pieces} of {wording.count(len(chosen), 'part')} by {day(first['order_by'])} for "
        f"the {name} ({when}): {wording.money(float(chosen['order_cost'].sum()), given.currency)}, "
        f"about {wording.money(float(chosen['gain_money'].sum()), given.currency)} saved."
    )
