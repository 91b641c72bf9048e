"""Stock page: overdue work that keeps somebody from harm, and the parts to order if it is done."""

import math
from dataclasses import dataclass

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.decisions.comparison.policies import RECOMMENDED
from dutylife.reports.facts import Facts, day, plain
from dutylife.reports.overdue_work import overdue_works, works_in_words
from dutylife.reports.tables import Shown, amount, figure_column, html_table
from dutylife.stock import pieces_each

_NO_NUMBER = "number not known"


@dataclass(frozen=True, slots=True, eq=False)
class SafetyWork:
    """Overdue work on parts that can hurt someone, and what it asks of the shelf.

    Parameters
    ----------
    parts : DataFrame
        A row for each part number: part_number, component, description, machines (whose part is
        overdue), takes [pieces] (all of them together), on_hand, to_order [pieces] (as many as
        leave the shelf at its level after the work; missing where the shelf is not counted),
        order_cost.
    n_machines : int
        With overdue work that can hurt, looks included.
    how : str
        What can happen, in words.
    until : Timestamp or None
        Day by which the proposed visits have done it.
    works : tuple of (str, int)
        What is to be done, and on how many machines.
    parts_here : Timestamp or None
        Day by which all its parts can be here if ordered on the record's last day; None where a
        lead time is not known.
    """

    parts: pd.DataFrame
    n_machines: int
    works: tuple[tuple[str, int], ...]
    how: str
    until: pd.Timestamp | None
    parts_here: pd.Timestamp | None = None


def safety_work(
    machine_tasks: pd.DataFrame,
    stock_plan: pd.DataFrame,
    as_of: pd.Timestamp | None = None,
    maintenance_events: pd.DataFrame | None = None,
) -> SafetyWork | None:
    """Return what is overdue and can hurt someone, None where nothing is.

    Parameters
    ----------
    machine_tasks, stock_plan : DataFrame, the tables of those names
    as_of : Timestamp, optional
        Last day of the record: with it the day the parts can be here is told.
    maintenance_events : DataFrame, optional
        Tells how many pieces a replacement takes; a part it does not hold takes one.
    """
    tasks, shelf = plain(machine_tasks), plain(stock_plan)
    if tasks.empty:
        return None
    late = tasks[tasks["is_overdue"] & (tasks["can_hurt"] != "")]
    if late.empty:
        return None
    wanted = (
        _numbered(tasks, late[late["task"] == "replace"])
        .groupby(["component", "part_number"], as_index=False)
        .agg(machines=("unit_id", "nunique"), changes=("unit_id", "size"))
    )
    each = _pieces_each(maintenance_events)
    wanted["takes"] = [
        math.ceil(changes * each.get(str(number), 1.0) - 1e-9)
        for number, changes in zip(wanted["part_number"], wanted["changes"], strict=True)
    ]
    rows = wanted.merge(
        shelf.drop(columns="component", errors="ignore"), on="part_number", how="left"
    )
    after = rows["on_hand"] + rows["on_order"].fillna(0.0) + rows["order_now"].fillna(0.0)
    # what the other work is to find there stays on the shelf
    free = (after - rows["reorder_point"]).clip(lower=0.0)
    pack = rows["pack_size"].fillna(1.0).clip(lower=1.0)
    packs = ((rows["takes"] - free).clip(lower=0.0) / pack - 1e-9).map(
        lambda n: math.ceil(n) if math.isfinite(n) else math.nan
    )
    rows = rows.assign(to_order=packs * pack, order_cost=packs * pack * rows["unit_cost"])
    names = ["part_number", "component", "description", "machines", "takes", "on_hand", "to_order",
             "order_cost"]  # fmt: skip
    days = late["next_on"].dropna()
    return SafetyWork(
        parts=rows[names].sort_values(["machines", "part_number"], ascending=[False, True]),
        n_machines=int(late["unit_id"].nunique()),
        how=", ".join(sorted(set(late["can_hurt"]))),
        until=days.max() if len(days) else None,
        works=overdue_works(late),
        parts_here=_here_on(rows, as_of),
    )


def _pieces_each(maintenance_events: pd.DataFrame | None) -> dict[str, float]:
    """Mean pieces of a replacement, by part number, as the forecast of demand takes it."""
    if maintenance_events is None or maintenance_events.empty:
        return {}
    events = plain(maintenance_events)
    return pieces_each(events[events["activity"] == "replace"])


def _here_on(rows: pd.DataFrame, as_of: pd.Timestamp | None) -> pd.Timestamp | None:
    """Day by which parts ordered now can be here; None where none is ordered or no time known."""
    days = rows.loc[rows["to_order"] > 0, "lead_time_days"]
    if as_of is None or days.empty or days.isna().any():
        return None
    return as_of + pd.Timedelta(days=math.ceil(float(days.max())))


def _numbered(tasks: pd.DataFrame, changed: pd.DataFrame) -> pd.DataFrame:
    """Overdue changes with a part number: the machine's own, else that of most of its class."""
    rows = tasks[(tasks["task"] == "replace") & (tasks["part_number"] != "")]
    rows = rows[rows["part_number"] != rows["component"]]
    most = rows.groupby(["component", "equipment_class"])["part_number"].agg(
        lambda numbers: numbers.value_counts().sort_index().idxmax()
    )
    own = changed["part_number"].where(changed["part_number"] != changed["component"], "")
    keys = pd.MultiIndex.from_frame(changed[["component", "equipment_class"]])
    of_class = pd.Series(most.reindex(keys).to_numpy(), index=changed.index).fillna("")
    return changed.assign(part_number=own.where(own != "", of_class))


def safety_sentence(work: SafetyWork, stock_plan: pd.DataFrame, given: Facts) -> str:
    """Say that the work is pending, what it needs, and what today's order comes to with it.

    Parameters
    ----------
    work : SafetyWork
    stock_plan : DataFrame, table "stock_plan"
    given : Facts

    Returns
    -------
    str
        Blank where the plan in force is the proposed one, whose order holds this work.
    """
    if given.plan_in_force == RECOMMENDED:
        return ""
    have = wording.count(work.n_machines, "machine has", "machines have")
    text = f"Not in this order: {have} overdue work on parts that can hurt someone "
    text += f"({work.how}): {works_in_words(work.works)}."
    if work.parts.empty:
        return text + " It takes no parts."
    pieces = float(work.parts["to_order"].sum())
    unknown = int(work.parts["to_order"].isna().sum())
    numbers = wording.count(len(work.parts), "part")
    total = f"{wording.count(float(work.parts['takes'].sum()), 'piece')} of {numbers}"
    by = f" by {day(work.until)}, as the proposed visits do," if work.until is not None else ""
    text += f" To do it{by} takes {total}"
    if unknown:
        text += f" ({wording.count(unknown, 'shelf', 'shelves')} to count first)"
    today = plain(stock_plan)
    today = today[today["order_now"] > 0]
    cost = float(work.parts["order_cost"].sum())
    both = float(today["order_cost"].sum()) + cost
    all_pieces = float(today["order_now"].sum()) + pieces
    more = f"order {wording.count(pieces, 'piece')} more" if pieces else "no more need be ordered"
    unpriced = int((work.parts["order_cost"].isna() & (work.parts["to_order"] > 0)).sum())
    lacking = f" and {wording.count(unpriced, 'part')} of unknown cost" if unpriced else ""
    priced = f", {wording.money(cost, given.currency)}{lacking}" if pieces else ""
    here = ""
    if work.parts_here is not None:
        here = (
            f" Ordered today, the parts can be here by {day(work.parts_here)}; a machine that "
            "comes before takes what lies on the shelf, or its visit is moved."
        )
    return (
        f"{text}: {more}{priced}. If it is to be done, order all at once: "
        f"{wording.count(all_pieces, 'piece')}, {wording.money(both, given.currency)}{lacking}."
        f"{here}"
    )


def safety_table(work: SafetyWork, given: Facts) -> Markup:
    """Return the parts of the overdue work as a table beside the order."""
    rows = work.parts.assign(
        part_number=work.parts["part_number"].replace("", _NO_NUMBER),
        what=[f"replace {c}" for c in work.parts["component"]],
    )
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="what", heading="overdue work"),
        figure_column("machines", "machines"),
        figure_column("takes", "take", "pieces"),
        figure_column("on_hand", "on hand", "pieces", missing="not counted"),
        figure_column("to_order", "order more", "pieces", missing="count the shelf"),
        figure_column("order_cost", "money", given.money_unit, write=amount, missing=""),
    ]
    return html_table(
        rows, shown,
        caption="If the overdue safety work is to be done: pieces beyond the order above, so that "
        "the shelf is at its level afterwards. Where a machine's part number is not on record, the "
        "one most machines of its class take.",
    )  # fmt: skip
