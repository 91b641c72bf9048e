"""Sections of the sheet on work that is due, parts to bring and the price of the visit."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.decisions.billed import billed_costs, ticket_totals
from dutylife.decisions.causes import VisitPrice, visit_price
from dutylife.reports.facts import day, records
from dutylife.reports.layout import Section
from dutylife.reports.maintenance.card_cautions import SHORT, hazards_of
from dutylife.reports.overdue_work import UNTIL_DONE
from dutylife.reports.sheet.first import ages_words
from dutylife.reports.sheet.machine import MachineSheet
from dutylife.reports.sheet.past import at_least
from dutylife.reports.tables import Shown, amount, figure_column, html_table

SOON_DAYS = 30
_MOST_LIKELY = 0.5  # a due part that is the cause with this chance is not paid for twice
_BRING_FROM = 0.10  # chance from which a part is brought: our proposal


def due_now(sheet: MachineSheet) -> Section:
    """Return what is due by now or soon, and what to change while the machine is open."""
    rows = due_tasks(sheet)
    prices = {name: cost for name, cost, _ in _priced(sheet, rows)[0]}
    open_now = _open_anyway(sheet, rows)
    rows = rows.assign(
        what=[f"{r.task} {r.component}" for r in records(rows)],
        when=[_when(r) for r in records(rows)],
        care=[_care(sheet, r) for r in records(rows)],
        price=[prices.get(f"{r.task} {r.component}", float("nan")) for r in records(rows)],
    )
    shown = [
        Shown(name="what", heading="task"),
        Shown(name="when", heading="due"),
        Shown(name="done_by", heading="who"),
        figure_column("price", "price", sheet.given.money_unit, write=_price, missing=""),
        Shown(name="care", heading="caution", wide=True),
    ]
    parts = [
        html_table(
            rows, shown, caption="Tasks due now or soon.", caption_unseen=True,
            none=f"No task is due within {SOON_DAYS} days.",
        )
    ]  # fmt: skip
    if len(open_now):
        parts.append(
            html_table(
                open_now,
                [
                    Shown(name="component", heading="while it is open, change"),
                    Shown(name="age", heading="part in place"),
                    Shown(name="past", heading="pays past"),
                ],
                caption="Not due yet, and worth changing on this visit. Where no change is on "
                "record and the part bears a younger date, go by the part.",
            )
        )
    late = int((rows["is_overdue"] & ~rows["rides_along"]).sum())
    looks = int(rows["rides_along"].sum())
    n = len(rows) - looks
    due = wording.count(n, "task is", "tasks are") if n else "Nothing is"
    more = wording.count(len(open_now), "part is", "parts are")
    answer = f"{due} due within {SOON_DAYS} days" + (f", {late} of them overdue" if late else "")
    answer = f"{due} overdue" if n and late == n else answer
    answer += f"; {wording.count(looks, 'look')} to do since it is in" if looks else ""
    answer += f"; {more} worth changing while it is open." if len(open_now) else "."
    return Section("Due now, and while it is open", answer, (), tuple(parts))


def due_tasks(sheet: MachineSheet) -> pd.DataFrame:
    """Return tasks of the workshop that are due by the last day and `SOON_DAYS` on."""
    tasks = sheet.of_machine("machine_tasks")
    by = pd.Timestamp(sheet.given.as_of) + pd.Timedelta(days=SOON_DAYS)
    soon = tasks["is_overdue"] | (tasks["next_on"] <= by)
    here = tasks[soon & (tasks["done_by"] != "operator")]
    replaces = here["task"] == "replace"
    # a part that is new, or was just found in order, needs no look on the same visit
    fresh = set(here.loc[replaces, "component"]) | set(sheet.already)
    done = here["component"].isin(sheet.already) | (~replaces & here["component"].isin(fresh))
    return here[~done].sort_values(["next_on", "task", "component"], kind="stable")


def _open_anyway(sheet: MachineSheet, due: pd.DataFrame) -> pd.DataFrame:
    """Parts older than the age from which a change pays when the machine is open, not due yet."""
    chances = sheet.table("opportunities")
    chances = chances[chances["duty"] == sheet.machine["duty"]].set_index("component")
    replaced = set(due.loc[due["task"] == "replace", "component"]) | set(sheet.already)
    unit, rows = sheet.given.meter_unit, []
    for part in records(sheet.lives):
        if part.component not in chances.index or part.component in replaced:
            continue
        chance = chances.loc[part.component]
        past = (part.age_hours >= chance["change_if_open_past_hours"]) or (
            part.age_days >= chance["change_if_open_past_days"]
        )
        # of a part fitted before the record only the least is known
        past = past or part.seen_days >= chance["change_if_open_past_days"]
        if past:
            at = wording.every(
                chance["change_if_open_past_hours"], chance["change_if_open_past_days"], "", unit
            )
            age = ages_words(part.age_hours, part.age_days, unit) or (
                f"{at_least(part.seen_days)}, no change on record"
            )
            rows.append({"component": part.component, "age": age, "past": at})
    return pd.DataFrame(rows, columns=["component", "age", "past"])


def _price(cost: float) -> str:
    return amount(cost) if cost else "in the visit"


def _when(row: Any) -> str:
    if row.rides_along:
        return "whenever it is in"
    return "overdue" if row.is_overdue else day(row.next_on)


def _care(sheet: MachineSheet, row: Any) -> str:
    hazards = hazards_of(sheet.component(row.component).system, row.can_hurt)
    care = " ".join(SHORT[h] for h in hazards)
    if row.is_overdue and row.can_hurt:
        care += f" {UNTIL_DONE}"
    return care.strip()


def parts_to_bring(sheet: MachineSheet) -> Section:
    """Return parts for the likely causes and the due tasks, with what is on the shelf."""
    due = due_tasks(sheet)
    wanted: dict[str, list[str]] = {}
    for row in records(sheet.first_causes):
        if not row.is_already_done and row.probability >= _BRING_FROM:
            wanted.setdefault(row.component, []).append("likely cause")
    for row in records(due[due["task"] == "replace"]):
        wanted.setdefault(row.component, []).append("due")
    for component in _open_anyway(sheet, due)["component"]:
        wanted.setdefault(component, []).append("while it is open")
    shelf = _shelf(sheet)
    rows, unnamed, out = [], [], []
    for component, why in wanted.items():
        number = _part_number(sheet, component)
        if not number:
            unnamed.append(component)
            continue
        on_hand, on_order = shelf.get(number, (None, None))
        if on_hand is not None and on_hand <= 0:
            out.append(component)
        rows.append(
            {"part": number, "component": component, "why": ", ".join(why),
             "on_hand": on_hand, "on_order": on_order}
        )  # fmt: skip
    frame = pd.DataFrame(rows, columns=["part", "component", "why", "on_hand", "on_order"])
    shown = [
        Shown(name="part", heading="part number"),
        Shown(name="component", heading="part"),
        Shown(name="why", heading="for"),
        figure_column("on_hand", "on hand", missing="not known: count"),
        figure_column("on_order", "on order", missing=""),
    ]
    table = html_table(
        frame, shown, caption="Parts to bring.", caption_unseen=True,
        none="No part with a number is asked for.",
    )  # fmt: skip
    answer = f"{wording.count(len(rows), 'part')} to bring" if rows else ""
    if rows:
        answer += f"; not on the shelf: {', '.join(out)}." if out else "."
    told = (f"No part number is known for: {', '.join(unnamed)}.",) if unnamed else ()
    return Section("Parts to bring", answer, told, (table,))


def _shelf(sheet: MachineSheet) -> dict[str, tuple[float | None, float | None]]:
    """Pieces on hand and on order by part number; counted by hand stands before the export."""
    out: dict[str, tuple[float | None, float | None]] = {}
    for row in records(sheet.table("shelf")):
        known = row.counted if pd.notna(row.counted) else row.on_hand
        out[row.part_number] = (
            float(known) if pd.notna(known) else None,
            float(row.on_order) if pd.notna(row.on_order) else None,
        )
    for row in records(sheet.table("stock_plan")):
        if row.part_number not in out:
            out[row.part_number] = (float(row.on_hand) if pd.notna(row.on_hand) else None, None)
    return out


def _part_number(sheet: MachineSheet, component: str) -> str:
    """Number of a part for this machine: planned, in place, else fitted most on its class."""
    tasks = sheet.of_machine("machine_tasks")
    # a task whose part has no number names the component in its place
    numbered = ~tasks["part_number"].isin(["", component])
    planned = tasks.loc[(tasks["component"] == component) & numbered, "part_number"]
    in_place = sheet.lives.loc[sheet.lives["component"] == component, "part_number"].dropna()
    events = sheet.table("maintenance_events")
    kinds = sheet.record.machines["equipment_class"]
    same = events["unit_id"].map(kinds) == sheet.machine["equipment_class"]
    fitted = events.loc[same & (events["component"] == component), "part_number"].dropna()
    for numbers in (planned, in_place[in_place != ""], fitted[fitted != ""]):
        if len(numbers):
            return str(numbers.value_counts(sort=False).sort_index().idxmax())
    return ""


def price(sheet: MachineSheet) -> Section:
    """Return what such visits were billed at, with range, and what the due tasks add."""
    unit = sheet.given.currency
    lines = sheet.typed("service_lines")
    bills = visit_price(
        sheet.causes.table, sheet.record.cases, ticket_totals(lines),
        sheet.causes.equipment_class, sheet.settings.report.confidence_level,
    )  # fmt: skip
    due = due_tasks(sheet)
    first = sheet.first_causes
    same = (
        set(first.loc[first["probability"] >= _MOST_LIKELY, "component"])
        if bills.n_bills
        else set()
    )
    twice = (due["task"] == "replace") & due["component"].isin(same)
    added, unpriced = _priced(sheet, due[~twice])
    sentences = ["As billed to the customer; a lost day of the machine is not in it."]
    sentences += [
        f"Replacing the {name} is due and the likeliest cause: counted once, with the complaint."
        for name in due.loc[twice, "component"]
    ]
    rows = []
    if bills.n_bills:
        rows.append({"what": "this complaint", "middle": bills.middle,
                     "span": _money_span(bills.lower, bills.upper),
                     "from": f"{wording.count(bills.n_bills, 'past bill')}, each cause as heavy "
                     "as it is likely"})  # fmt: skip
    if added:
        sources = " and ".join(sorted({source for _, _, source in added}))
        tasks = wording.count(len(added), "due task")
        rows.append({"what": tasks, "middle": sum(cost for _, cost, _ in added), "span": "",
                     "from": f"{sources}; each stands beside its task"})  # fmt: skip
    visit = sheet.settings.workshop.visit_cost
    if added and not bills.n_bills and visit:  # a past bill holds its own visit
        added.append(("the visit itself", float(visit), "settings"))
        rows.append({"what": "the visit itself", "middle": float(visit), "span": "",
                     "from": "settings"})  # fmt: skip
    if bills.n_bills and bills.share_priced < 0.95:
        rest = wording.percent(1 - bills.share_priced)
        sentences.append(f"Causes of {rest} chance were never billed; they are not in it.")
    if unpriced:
        sentences.append(f"Without a price in the record: {', '.join(unpriced)}.")
    shown = [
        Shown(name="what", heading="for"),
        figure_column("middle", "middle", sheet.given.money_unit, write=amount),
        Shown(name="span", heading="9 in 10 within", missing="one figure"),
        Shown(name="from", heading="from"),
    ]
    table = html_table(
        pd.DataFrame(rows, columns=[c.name for c in shown]), shown,
        caption="What the visit may come to.", caption_unseen=True,
        none="Not enough evidence: no line of the record has a price, and no cost is stated.",
    )  # fmt: skip
    return Section("Price of the visit", _price_answer(bills, added, unit), tuple(sentences),
                   (table,))  # fmt: skip


def _priced(
    sheet: MachineSheet, due: pd.DataFrame
) -> tuple[list[tuple[str, float, str]], list[str]]:
    """Due tasks with what they cost the customer and where that is from; those without a figure."""
    billed = billed_costs(sheet.typed("service_lines"), sheet.typed("maintenance_events"))
    costs = sheet.table("costs")
    costs = costs[costs["duty"] == sheet.machine["duty"]].set_index(["component", "task"])
    added, unpriced = [], []
    for row in records(due):
        name, key = f"{row.task} {row.component}", (row.component, row.task)
        cost = costs.loc[key] if key in costs.index else None
        stated = (
            cost is not None and cost["payer"] == "contractor" and not cost["is_relative"]
            and cost["basis"] != "our proposal" and not cost["assumed"]
        )  # fmt: skip
        if stated and cost is not None and row.task != "replace" and cost["visit_cost"] > 0:
            added.append((name, 0.0, "settings"))  # a look is in the price of its visit
            continue
        if stated and cost is not None and pd.notna(cost["planned_cost"]):
            source = "settings" if cost["basis"] == "settings" else "billed lines"
            added.append((name, float(cost["planned_cost"]), source))
            continue
        own = billed.loc[row.component] if row.component in billed.index else None
        total = own["part_cost"] + own["labour_cost"] if own is not None else float("nan")
        if row.task == "replace" and pd.notna(total):
            added.append((name, float(total), "billed lines"))
        else:
            unpriced.append(name)
    return added, unpriced


def _price_answer(bills: VisitPrice, added: list[tuple[str, float, str]], unit: str) -> str:
    more = sum(cost for _, cost, _ in added)
    if not bills.n_bills and not added:
        return ""
    if not bills.n_bills:
        return f"The due tasks come to about {wording.money(more, unit)}."
    text = (
        f"About {wording.money(bills.middle, unit)} for this complaint, "
        f"{_money_span(bills.lower, bills.upper)} in 9 of 10 such visits"
    )
    if added:
        low, high = bills.lower + more, bills.upper + more
        text += (
            f"; with what is due {wording.money(bills.middle + more, unit)} "
            f"({_money_span(low, high)})"
        )
    return text + "."


def _money_span(low: float, high: float) -> str:
    return f"{wording.money(low, '')} to {wording.money(high, '')}"
