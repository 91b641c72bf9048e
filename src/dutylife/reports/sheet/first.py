"""Sections of the sheet that come first: the machine, the hazards, what to check and measure."""

from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.components import Task
from dutylife.reports.cautions import CALENDAR_LINE, CAUTIONS
from dutylife.reports.facts import day, records
from dutylife.reports.layout import Section, listed
from dutylife.reports.maintenance.card_cautions import hazards_of
from dutylife.reports.maintenance.tools import tool_for
from dutylife.reports.sheet.machine import MachineSheet
from dutylife.reports.tables import Shown, html_table

_ALWAYS = ("Unexpected start", "Carbon monoxide", "Fire")
_LOOKS = ("measure", "test", "inspect", "clean")
_LONGEST = 400  # signs of a complaint that a page shows; the rest says nothing at a counter
_OLDER, _YOUNGER = 1.5, 0.67  # times the usual risk, worth a word
_MOST_CHECKS = 8


def machine(sheet: MachineSheet) -> Section:
    """Return who the machine is, and what was said of it."""
    row, given = sheet.machine, sheet.given
    facts = [row["equipment_class"], row["engine_model"], row["duty"], row["customer"]]
    now = row["meter_now_hours"]
    lines = [" | ".join(str(f) for f in facts if f)]
    if pd.notna(now):
        use = row["hours_per_week"]
        weekly = f", about {wording.meter(use, given.meter_unit)} a week" if use > 0 else ""
        lines.append(
            f"Meter about {wording.number(float(now), 4)} {given.meter_short} on "
            f"{day(given.as_of)}{weekly}."
        )
    if row["prob_in_service"] < 0.5:
        lines.append(f"Not seen since {day(row['last_seen'])}: it may have left the fleet.")
    parts = []
    if sheet.complaint.strip():
        said = Markup('<p class="said" dir="auto"><strong>Said:</strong> <bdi>{}</bdi>{}</p>')
        parts.append(said.format(*_cut(sheet.complaint.strip())))
    if sheet.already:
        done = Markup("<p><strong>Changed or found in order already:</strong> {}.</p>")
        parts.append(done.format(", ".join(sheet.already)))
    return Section("", "", tuple(lines), tuple(parts))


def _cut(text: str) -> tuple[str, str]:
    """Text as far as it is shown, and how long it is where it is cut."""
    if len(text) <= _LONGEST:
        return text, ""
    return text[:_LONGEST], f"... ({wording.count(len(text), 'sign')} in all)"


def cautions(sheet: MachineSheet) -> Section:
    """Return the hazards of the work that is likely to be done, before any of it."""
    due = sheet.of_machine("machine_tasks")
    hurts = {str(r.component): str(r.can_hurt) for r in records(due) if r.can_hurt}
    names = [*sheet.first_causes["component"], *hurts]
    needed = set(_ALWAYS)
    for name in dict.fromkeys(map(str, names)):
        component = sheet.component(name)
        needed |= set(hazards_of(component.system, hurts.get(name, component.can_hurt)))
    lines = [f"{hazard}. {what}" for hazard, what in CAUTIONS if hazard in needed]
    told = [f"{name} ({how})" for name, how in sorted(hurts.items())]
    can = (f"On this machine a failure of these can hurt someone: {', '.join(told)}.",)
    return cautions_of(lines, can if told else ())


def cautions_of(lines: list[str], sentences: tuple[str, ...] = ()) -> Section:
    """Return caution lines as the section that stands first on the page."""
    block = Markup('<div class="caution">{}</div>').format(listed(lines))
    return Section("Before anyone touches it", CALENDAR_LINE, sentences, (block,))


def check_first(sheet: MachineSheet) -> Section:
    """Return the likely causes, the likeliest first, with counts, ranges and the part's age."""
    found, rows = sheet.causes, sheet.first_causes
    rows = rows.assign(
        chance=[
            f"{wording.share(r.probability)}\n{_span(r, 'probability')}" for r in records(rows)
        ],
        counted=[_counted(r) for r in records(rows)],
        age=[_age(r, sheet) for r in records(rows)],
        why=[_why(r, sheet) for r in records(rows)],
    )
    shown = [
        Shown(name="component", heading="check"),
        Shown(name="chance", heading="chance"),
        Shown(name="counted", heading="like complaints"),
        Shown(name="age", heading="part in place"),
        Shown(name="why", heading="what moves it here", wide=True),
    ]
    sentences = []
    if found.counted_in != "duty" and not found.is_thin and sheet.complaint.strip():
        sentences.append(
            f"Fewer than 5 like complaints of such machines in {found.duty}: those of "
            f"{found.where} are counted."
        )
    sentences.append(
        "This orders checks and names no fault: measure before changing. Chances are of those "
        "visits in which one of these parts is at fault, with their range: the count of like "
        "complaints weighed by the age of this machine's parts; a new part is less likely to be it "
        "than the count says."
    )
    if found.never_at_fault and sheet.complaint.strip():
        never = ", ".join(found.never_at_fault)
        sentences.append(f"Such words also point to {never}, at fault on no such machine so far.")
    table = html_table(
        rows, shown, caption="Parts in the order in which to check them.", caption_unseen=True,
        none="No part of such a machine was ever at fault in this record.",
    )  # fmt: skip
    return Section("Check first", found.text, tuple(sentences), (table,))


def _counted(row: Any) -> str:
    if pd.isna(row.share_of_like):
        return "none"
    return f"{round(row.n_at_fault)} of {round(row.n_like)}"


def _span(row: Any, name: str) -> str:
    return wording.percent_range(getattr(row, f"{name}_lower"), getattr(row, f"{name}_upper"))


def _age(row: Any, sheet: MachineSheet) -> str:
    return ages_words(row.age_hours, row.age_days, sheet.given.meter_unit) or "age not known"


def ages_words(hours: float, days: float, meter_unit: str) -> str:
    """Return an age on both clocks; blank where neither is known."""
    on_meter = wording.meter(hours, meter_unit) if pd.notna(hours) else ""
    on_calendar = wording.count(round(days), "day") if pd.notna(days) else ""
    return ", ".join(w for w in (on_meter, on_calendar) if w)


def _why(row: Any, sheet: MachineSheet) -> str:
    told = []
    if row.is_already_done:
        early = sheet.record.early.get(row.component, 0.0)
        told.append(
            f"done already, so it stands last; {wording.share(early)} of works on it came back "
            "at once"
        )
        return "; ".join(told)  # the age is that before the work
    times = row.times_usual_risk
    usual = usual_age(sheet, row.component)
    past = usual is not None and getattr(row, f"age_{usual[0]}") > usual[1]
    if past:
        told.append("past the age by which half fail in this duty")
    if times >= _OLDER:
        new = row.age_days < sheet.settings.coding.comeback_days
        why = "just worked on, and such work may come back: " if new and not past else ""
        told.append(f"{why}risk {wording.number(times, 2)} times that of such parts in general")
    elif times <= _YOUNGER:
        told.append(f"young: risk {wording.number(times, 2)} times that of such parts in general")
    return "; ".join(told)


def usual_age(sheet: MachineSheet, component: str) -> tuple[str, float] | None:
    """Clock and age by which half of such parts fail in this machine's duty, None: not known.

    Parameters
    ----------
    sheet : MachineSheet
    component : str

    Returns
    -------
    tuple or None
        ("hours" or "days", age).
    """
    models = sheet.table("life_models")
    models = models[(models["duty"] == sheet.machine["duty"]) & (models["component"] == component)]
    if models.empty or models.iloc[0]["basis"] == "starting value":
        return None
    clock = "hours" if models.iloc[0]["clock"] == "hours" else "days"
    age = models.iloc[0][f"b50_{clock}"]
    return None if pd.isna(age) else (clock, float(age))


def measure(sheet: MachineSheet) -> Section:
    """Return what to read on the parts to check: good value, limit, tool, last reading."""
    rows = []
    for name in map(str, sheet.first_causes["component"]):
        if name in sheet.already:
            continue
        own, last = _own_limits(sheet, name), _last_reading(sheet, name)
        for place, check in enumerate(_checks(sheet, name)):
            limit = wording.limit_words(check.reject_limit, check.unit)
            rows.append(
                {
                    "part": name,
                    "what": "\n".join(filter(None, (_reading(check), "" if place else last))),
                    "good": wording.limit_words(check.nominal, check.unit),
                    "limit": f"{limit}\n{own if not place else ''}".strip(),
                    "tool": tool_for(check.measurement, check.unit) or "eyes and hands",
                    "mark": check.mark,
                }
            )
    more = len(rows) - _MOST_CHECKS
    rows = rows[:_MOST_CHECKS]
    shown = [
        Shown(name="part", heading="part"),
        Shown(name="what", heading="look or reading", wide=True),
        Shown(name="good", heading="good"),
        Shown(name="limit", heading="change or mend at", missing="as the maker's manual says"),
        Shown(name="tool", heading="tool"),
        Shown(name="mark", heading="how well known"),
    ]
    parts = {r["part"] for r in rows}
    answer = (
        f"{wording.count(len(rows), 'look or reading', 'looks and readings')} on "
        f"{wording.count(len(parts), 'part')}, in the order of the checks."
        if rows
        else ""
    )
    sentences: tuple[str, ...] = (
        "Limits are starting values: the maker's figure stands above them, and one of the part's "
        "own above that. Tools: common practice, no source.",
    )
    if more > 0:
        sentences += (f"{wording.count(more, 'more look')} of less likely parts left out.",)
    table = html_table(
        pd.DataFrame(rows, columns=[c.name for c in shown]), shown,
        caption="Readings in the order of the checks.", caption_unseen=True,
        none="Nothing is known to measure on these parts; look as the maker's manual says.",
    )  # fmt: skip
    return Section("What to measure", answer, sentences if rows else (), (table,))


def _reading(check: Task) -> str:
    """What is read, and how where the list says more than the task's name."""
    read = "" if check.measurement == "visual" else check.measurement
    how = "" if check.action in ("replace", check.task) and read else check.action
    return ": ".join(w for w in (read, how) if w)


def _checks(sheet: MachineSheet, name: str) -> list[Task]:
    """Looks of a component, each measurement once, readings before looks with the eyes."""
    tasks = [t for t in sheet.component(name).tasks if t.measurement or t.reject_limit]
    once = list({(t.measurement, t.unit): t for t in tasks}.values())
    order = {task: place for place, task in enumerate(_LOOKS)}
    return sorted(once, key=lambda t: order.get(t.task, len(order)))


def _own_limits(sheet: MachineSheet, name: str) -> str:
    """Limits of the part number in place, from the parts list."""
    numbers = set(sheet.lives.loc[sheet.lives["component"] == name, "part_number"]) - {"", None}
    catalogue = sheet.table("catalogue")
    rows = catalogue[catalogue["part_number"].isin(numbers)]
    for row in records(rows):
        low, high = row.low_limit, row.high_limit
        if pd.notna(low) or pd.notna(high):
            ends = " to ".join(wording.number(v) for v in (low, high) if pd.notna(v))
            word = "" if pd.notna(low) and pd.notna(high) else ("from " if pd.notna(low) else "to ")
            return f"part {row.part_number}: {word}{ends} {row.unit}"
    return ""


def _last_reading(sheet: MachineSheet, name: str) -> str:
    rows = sheet.of_machine("readings")
    rows = rows[(rows["component"] == name) & rows["value"].notna()]
    if rows.empty:
        return ""
    row = records(rows.sort_values(["read_on", "reading_number"], kind="stable"))[-1]
    return f"last read {wording.number(row.value)} {row.unit} on {day(row.read_on)}"
