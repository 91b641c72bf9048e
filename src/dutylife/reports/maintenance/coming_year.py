"""Sections on the coming year: what the plan changes, and which machines to keep."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.decisions.comparison import comparison_sentence
from dutylife.decisions.comparison.compare import SAID
from dutylife.decisions.comparison.policies import RECOMMENDED, SEEN
from dutylife.decisions.keep_or_retire import (
    RETIRE,
    SAFETY,
    UNKNOWN,
    keep_or_retire_sentence,
)
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, figure_column, html_table

MOST_CUSTOMERS = 8
MOST_MACHINES = 8
_COUNTS = (
    ("failures_per_year", "failures"), ("visits_per_year", "visits"), ("parts_per_year", "parts"),
    ("labour_hours_per_year", "labour"), ("lost_days_per_year", "lost days"),
)  # fmt: skip


def what_the_plan_changes(run: Run) -> Section:
    """Return a year of each plan, and what the proposed one saves each customer."""
    given, table = facts_of(run), plain(table_or_empty(run, "plan_comparison"))
    notes = _notes(run, "plan_comparison")
    if given.customer:  # a pack holds its customer's rows alone
        table = table.assign(customer="")
    if table.empty:
        return Section("What the plan changes in a year", "No year could be simulated.", notes)
    fleet = table[table["customer"] == ""]
    answer = comparison_sentence(table.assign(customer=table["customer"].replace("", None)),
                                 given.currency, "you" if given.customer else "")  # fmt: skip
    how = (
        "Expected figures of one year for the machines in service, with the ages, use and laws of "
        "now; the range in brackets holds the expectation "
        f"{round(10 * given.confidence_level)} times in 10. "
        "Every plan meets the same luck. Work that keeps what can hurt someone from failing is in "
        "every plan; today's practice is as the record shows it."
    )
    parts = [_plans(fleet, given)]
    customers = _customers(table, given)
    whose = whose_money(fleet, given)
    return Section(
        "What the plan changes in a year", answer, tuple(t for t in (whose, how, *notes) if t),
        (*parts, *([customers] if customers else [])),
    )  # fmt: skip


def saving_in_short(run: Run) -> tuple[str, ...]:
    """Return what the proposed plan changes, for the first screen: whose money, the range, why.

    Parameters
    ----------
    run : Run

    Returns
    -------
    tuple of str
        Empty where no year could be simulated.
    """
    given, table = facts_of(run), plain(table_or_empty(run, "plan_comparison"))
    if not given.customer and not table.empty:
        table = table[table["customer"] == ""]
    if table.empty or not {RECOMMENDED, SEEN} <= set(table["plan"]):
        return ()
    fleet = table.assign(customer="")
    told = comparison_sentence(fleet.assign(customer=None), given.currency,
                               "you" if given.customer else "")  # fmt: skip
    whose = whose_money(fleet, given)
    return (told, whose) if whose else (told,)


def whose_money(fleet: pd.DataFrame, given: Facts) -> str:
    """Say whose money the saving is, what is in it, and why the shop's own goes another way.

    Parameters
    ----------
    fleet : DataFrame
        Rows of table "plan_comparison" of all machines together.
    given : Facts

    Returns
    -------
    str
        Blank where no money is known.
    """
    payers = _payers(fleet)
    if not payers:
        return ""
    of: Any = fleet.set_index(["plan", "payer"])
    sure = f"{round(10 * given.confidence_level)} times in 10 within the range"

    def pays(payer: str) -> str:
        now, then = (float(of.loc[(plan, payer), "cost_per_year"]) for plan in (SEEN, RECOMMENDED))
        return f"{wording.money(then, given.currency)} a year instead of {wording.money(now, '')}"

    if payers[0] == "shop":
        return (
            f"That is the shop's own money ({pays('shop')}; {sure}): parts at what they cost it, "
            "and its labour."
        )
    owner = "your" if given.customer else "the contractor's"
    text = (
        f"That is {owner} money ({pays('contractor')}; {sure}): what the shop bills for planned "
        "work, visits and failures, and the days machines stand, as far as their cost is stated."
    )
    if "shop" not in payers or given.customer:
        return text
    hours = [float(of.loc[(plan, "shop"), "labour_hours_per_year"]) for plan in (SEEN, RECOMMENDED)]
    work = (
        f" ({_whole(hours[1])} hours of it instead of {_whole(hours[0])})"
        if np.isfinite(hours).all()
        else ""
    )
    return (
        f"{text} The shop's own costs are another count, {pays('shop')}: parts and labour{work} at "
        "what they cost it, for more planned work. What it is paid for that is in the contractor's "
        "figure and not taken off."
    )


def _payers(fleet: pd.DataFrame) -> list[str]:
    """Those whose money is known for every plan, the contractor first."""
    return [
        p
        for p in ("contractor", "shop")
        if (fleet["payer"] == p).any() and fleet[fleet["payer"] == p]["cost_per_year"].notna().all()
    ]


def _plans(fleet: pd.DataFrame, given: Facts) -> Any:
    payers = _payers(fleet)
    order = {name: place for place, name in enumerate(SAID)}
    counted = [c for c in _COUNTS if fleet[c[0]].notna().any()]
    rows = []
    for plan in sorted(set(fleet["plan"]), key=lambda p: order.get(p, 9)):
        of = fleet[fleet["plan"] == plan].set_index("payer")
        row: dict[str, Any] = {"plan": SAID.get(plan, plan)}
        any_payer = of.iloc[0]
        for name, _ in counted:
            row[name] = ranged(any_payer, name)
        for payer in payers:
            row[payer] = ranged(of.loc[payer], "cost_per_year")
            row[f"{payer} saves"] = ranged(of.loc[payer], "saving_per_year")
        rows.append(row)
    shown = [Shown(name="plan", heading="plan")]
    shown += [
        Shown(name=name, heading=heading, unit="h" if heading == "labour" else "", number=True)
        for name, heading in counted
    ]
    for payer in payers:
        saver = "you" if given.customer else f"the {payer}"
        whose = (
            "contractor pays, lost days in"
            if payer == "contractor"
            else "shop's own costs, income not taken off"
        )
        whose = "you pay" if given.customer else whose
        shown.append(Shown(name=payer, heading=whose, unit=given.money_unit, number=True))
        if payer == payers[0]:
            shown.append(
                Shown(
                    name=f"{payer} saves",
                    heading=f"the proposed plan saves {saver}",
                    unit=given.money_unit,
                    number=True,
                )
            )  # fmt: skip
    return html_table(
        pd.DataFrame(rows),
        shown,
        caption=f"A year of {'your machines' if given.customer else 'the whole fleet'} under "
        "each plan.",
    )


def _customers(table: pd.DataFrame, given: Facts) -> Any:
    rows = table[(table["plan"] == "as seen") & (table["customer"] != "")]
    rows = rows[rows["saving_per_year"].notna()]
    first = "contractor" if (rows["payer"] == "contractor").any() else "shop"
    rows = rows[rows["payer"] == first].sort_values(
        ["saving_per_year", "customer"], ascending=[False, True], kind="stable"
    )
    if len(rows) < 2:
        return None
    more = len(rows) - MOST_CUSTOMERS
    rows = rows.head(MOST_CUSTOMERS)
    rows = rows.assign(
        saves=[ranged(r, "saving_per_year") for r in rows.to_dict("records")],
        spared=[ranged(r, "failures_spared_per_year") for r in rows.to_dict("records")],
    )
    caption = "Against today's practice, by customer, the greatest saving first."
    if more > 0:
        caption += f" {wording.count(more, 'more customer')} in the tables."
    shown = [
        Shown(name="customer", heading="customer"),
        figure_column("n_machines", "machines"),
        Shown(name="spared", heading="failures fewer", number=True),
        Shown(name="saves", heading="saved", unit=f"{given.money_unit} a year", number=True),
    ]
    return html_table(rows, shown, caption=caption)


def ranged(row: Any, name: str) -> str:
    """Write a figure with its range on a second line; blank where it is not known."""
    value, low, high = (float(row[f"{name}{end}"]) for end in ("", "_lower", "_upper"))
    if not np.isfinite(value):
        return ""
    if low == high:
        return _whole(value)
    return f"{_whole(value)}\n({_whole(low)} to {_whole(high)})"


def _whole(value: float) -> str:
    near = abs(value) < 9.95
    text = wording.number(round(value, 1), 2) if near else f"{value:,.0f}".replace(",", " ")
    return text.replace("-", "\N{MINUS SIGN}")


def keep_or_retire(run: Run) -> Section:
    """Return the machines that cost most, with a verdict where a price is stated."""
    given, table = facts_of(run), plain(table_or_empty(run, "keep_or_retire"))
    notes = _notes(run, "keep_or_retire")
    if table.empty:
        return Section("Keep, or retire", "No machine could be weighed.", notes)
    # what has to be acted on first, then what will cost most
    acts = table["advice"].isin([RETIRE, SAFETY])
    rows = table.assign(acts=acts, cost=table["next_year_cost"].fillna(-1.0)).sort_values(
        ["acts", "cost", "unit_id"], ascending=[False, False, True], kind="stable"
    )
    rows = rows if given.customer else rows.head(max(MOST_MACHINES, int(acts.sum())))
    rows = rows.assign(
        coming=[ranged(r, "next_year_cost") for r in rows.to_dict("records")],
        own=[_times(r) for r in records(rows)],
        who=[f"{r.unit_id}\n{r.equipment_class}, {r.duty}" for r in records(rows)],
        verdict=[_verdict(r, given) for r in records(rows)],
    )
    unit = given.meter_short
    shown = [
        Shown(name="who", heading="machine"),
        figure_column("billed_per_1000_hours", "billed so far",
                      f"{given.money_unit} per 1000 {unit}", write=_whole, missing=""),
        figure_column("lost_days_per_1000_hours", "lost days", f"per 1000 {unit}",
                      write=_whole, missing=""),
        Shown(name="own", heading="failures against its duty's", number=True),
        Shown(name="trend", heading="trend"),
        Shown(name="coming", heading="coming year", unit=given.money_unit, number=True),
        Shown(name="verdict", heading="verdict", wide=True),
    ]  # fmt: skip
    more = len(table) - len(rows)
    caption = (
        "What to retire first, then what will cost most; in brackets what a single year may bring."
    )
    if more > 0:
        caption += f" {wording.count(more, 'more machine')} in the tables."
    how = (
        "No safety work is ever dropped: until a machine has left, what can hurt someone is done "
        "in time. The comparison is without interest, resale or fuel."
    )
    return Section(
        "Keep, or retire", keep_or_retire_sentence(table), (how, *notes),
        (html_table(rows, shown, caption=caption),),
    )  # fmt: skip


def _times(row: Any) -> str:
    low, high = row.own_factor_lower, row.own_factor_upper
    if not np.isfinite(row.own_factor):
        return ""
    return f"{row.own_factor:.1f} times\n({low:.1f} to {high:.1f})"


def _verdict(row: Any, given: Facts) -> str:
    if given.customer and not np.isfinite(row.next_year_cost):
        return (
            "not shown\nit would rest on machines of fewer than three customers, or on the time "
            "before it came to you"
        )
    settles = (
        f"\nwould tell: {wording.without_keys(row.would_tell)}"
        if row.advice == UNKNOWN and row.would_tell
        else ""
    )
    if not np.isfinite(row.new_one_cost_per_year):
        return f"{row.advice}{settles or chr(10) + 'no price of a new one is stated'}"
    return (
        f"{row.advice}\na new one costs about {_whole(row.new_one_cost_per_year)} "
        f"{given.money_unit} a year{settles}"
    )


def _notes(run: Run, table: str) -> tuple[str, ...]:
    """What the figures leave out, as the run told it."""
    found = plain(table_or_empty(run, "findings"))
    if found.empty:
        return ()
    told = found[(found["table"] == table)]["message"].astype(str)
    return tuple(wording.without_keys(t) for t in told)
