"""One life on one sheet, for a claim on a part: fitted, hours, readings, like parts, rows."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.errors import FitError, RunError
from dutylife.models import kaplan_meier
from dutylife.models.cells import usable_lives
from dutylife.provenance import Run
from dutylife.reports.evidence.lives_page import age_words, lives_with_rows
from dutylife.reports.facts import Facts, day, facts_of, plain, records
from dutylife.reports.layout import Section
from dutylife.reports.results.marks import in_percent
from dutylife.reports.tables import Shown, date_column, html_table

_SOURCE = {
    "meter": "read on the meter at both ends",
    "interpolated": "between two readings of the meter",
    "estimated": "estimated from the machine's use",
    "unknown": "not known: no reading near enough",
}
_ENDS = {
    "failed": "failed", "replaced": "was changed while it still worked",
    "running": "was running on the last day of the record", "lost": "was not followed further",
}  # fmt: skip


def one_life(
    run: Run, unit_id: str, component: str, life_number: int | None = None, position: str = ""
) -> Section:
    """Return the sheet of one life of a part, as the record tells it.

    Parameters
    ----------
    run : Run
    unit_id, component : str
    life_number : int, optional
        The last life that ended in failure when not given, else the last one.
    position : str
        Where the machine has several like parts.

    Returns
    -------
    Section
        Its answer says when it was fitted, how it ended at what age, and how many like parts in
        this duty lasted longer.

    Raises
    ------
    RunError
        The record holds no such life.
    """
    given, lives = facts_of(run), lives_with_rows(run)
    life = _found(lives, unit_id, component, life_number, position)
    like = _like_parts(life, run, given)
    fitted = f"Fitted {day(life.installed_on)}" if pd.notna(life.installed_on) else (
        "Fitted on a day that is not known"
    )  # fmt: skip
    answer = f"{fitted}; it {_ENDS[life.event]}"
    answer += f" on {day(life.ended_on)} at an age of {age_words(life, given)}. {like[0]}"
    parts = (_facts_table(life, given), _readings(life, run), _source_lines(life, run))
    sentences = (
        *like[1:],
        "The sheet says what the record holds, not who bears the cost: the terms of the part's "
        "maker decide, and a competent person judges the part itself.",
    )
    where = f", {life.position}" if life.position else ""
    title = f"{component}{where} on {unit_id}, life {life.life_number}"
    return Section(title, answer, sentences, parts)


def _found(
    lives: pd.DataFrame, unit_id: str, component: str, number: int | None, position: str
) -> Any:
    of_part = lives[(lives["unit_id"] == unit_id) & (lives["component"] == component)]
    if position:
        of_part = of_part[of_part["position"] == position]
    if number is not None:
        rows = of_part[of_part["life_number"] == number]
    else:
        failed = of_part[of_part["event"] == "failed"]
        rows = failed if len(failed) else of_part
    if rows.empty:
        have = ", ".join(
            f"{r.component} {r.position} {r.life_number}".replace("  ", " ")
            for r in records(lives[lives["unit_id"] == unit_id].drop_duplicates(["component"]))
        )
        raise RunError(
            f"The record holds no such life of '{component}' on '{unit_id}'.", "one_life",
            f"this machine has: {have}" if have else "check the machine's name in table units",
        )  # fmt: skip
    return list(rows.itertuples(index=True))[-1]


def _like_parts(life: Any, run: Run, given: Facts) -> list[str]:
    """How many like parts lasted longer, and the same allowing for those still running."""
    clock = "hours" if pd.notna(life.exit_hours) else "days"
    unit = given.meter_short if clock == "hours" else "days"
    age = float(getattr(life, f"exit_{clock}"))
    if not np.isfinite(age):
        return ["Its age is not known, so it can't be held against like parts."]
    lives = run.table("failure_events")
    usable = usable_lives(lives, int(run.info.get("comeback_days") or 0))
    usable = usable[
        (usable["component"] == life.component)
        & (usable["duty"] == life.duty)
        & usable[f"fits_{clock}"]
    ]
    own = (lives["unit_id"] == life.unit_id) & (lives["life_number"] == life.life_number)
    own &= lives["position"].astype("object").fillna("") == life.position
    usable = usable[~own.reindex(usable.index, fill_value=False)]
    exit_, entry = (usable[f"{end}_{clock}"].to_numpy(float) for end in ("exit", "entry"))
    failed = (usable["event"] == "failed").to_numpy()
    # one first seen at a greater age is there only because it lasted: it can't bear witness
    longer = (exit_ > age) & (entry <= age)
    shorter = failed & (exit_ <= age)
    m, n = int(longer.sum() + shorter.sum()), int(longer.sum())
    at = f"{wording.number(age)} {unit}"
    if not m:
        return [f"No like part in this duty was followed past {at} or failed before it."]
    verb = "has" if n == 1 else "have"
    told = [f"{n} of {m} like parts in this duty {verb} lasted longer."]
    untold = len(usable) - m
    told.append(
        f"Like parts are the other lives of {life.component} in {life.duty} whose age is known; "
        f"{untold} more were cut off before {at} (or first seen after it) and can't tell."
    )
    if shorter.any():
        told.append(_allowing(exit_, failed, entry, age, at, given))
    return told


def _allowing(exit_: Any, failed: Any, entry: Any, age: float, at: str, given: Facts) -> str:
    """Share of like parts that last longer, those cut off counted while they were seen."""
    # what came after this age tells nothing of it, and a curve that ends early would be refused
    early = entry < age
    try:
        curve = kaplan_meier(
            np.minimum(exit_, age)[early], (failed & (exit_ <= age))[early], entry=entry[early],
            level=given.confidence_level,
        )  # fmt: skip
    except FitError:
        return (
            "Allowing for those cut off, nothing can be told: all that were watched early failed."
        )
    last = curve.table.iloc[-1]
    span = f"{wording.percent(last['lower'])} to {wording.percent(last['upper'])}"
    return (
        f"Allowing for those cut off, {wording.percent(last['survival'])} of like parts "
        f"last longer than {at} ({in_percent(given.confidence_level)}: {span})."
    )


def _facts_table(life: Any, given: Facts) -> Any:
    end = _ENDS[life.event] + (f" ({life.failure_mode})" if life.failure_mode else "")
    error = life.age_se_hours
    spread = (
        f", give or take {wording.number(1.645 * error)} {given.meter_short} in 9 of 10 cases"
        if pd.notna(error) and error > 0.5
        else ""
    )
    rows = [
        ("machine", ", ".join(t for t in (life.unit_id, life.equipment_class) if t)),
        ("customer and duty", ", ".join(t for t in (life.customer, life.duty) if t)),
        ("part number", life.part_number or "not on the record"),
        ("fitted", day(life.installed_on) or "not known: before the record"),
        ("fitted by job", life.put_in_ticket or "not on the record"),
        ("fitted by rows", life.began_rows or "no row of the record"),
        ("ended", f"{day(life.ended_on)}: {end}"),
        ("ended by job", life.ticket or "none: it had not ended"),
        ("ended by rows", life.ended_rows or "no row of the record"),
        ("age", age_words(life, given)),
        ("where the hours come from", _SOURCE.get(life.clock_source, life.clock_source) + spread),
    ]
    return html_table(
        pd.DataFrame(rows, columns=["what", "value"]),
        [Shown(name="what", heading="what"), Shown(name="value", heading="on the record")],
        caption="The life as the record tells it.",
    )


def _readings(life: Any, run: Run) -> Any:
    reads = plain(run.table("readings"))
    of_part = (reads["unit_id"] == life.unit_id) & (reads["component"] == life.component)
    if pd.notna(life.installed_on):
        of_part &= reads["read_on"] >= life.installed_on
    of_part &= reads["read_on"] <= life.ended_on
    # on the day of the change the reading "as left" is the next part's
    of_part &= ~((reads["read_on"] == life.ended_on) & (reads["moment"] == "as left"))
    rows = reads[of_part].sort_values(["read_on", "reading_number"])
    rows = rows.assign(
        told=[
            ("over range" if r.over_range and pd.isna(r.value) else wording.number(r.value))
            + f" {r.unit}"
            for r in records(rows)
        ]
    )
    shown = [
        date_column("read_on", "read on"),
        Shown(name="quantity", heading="what was read"),
        Shown(name="told", heading="reading", number=True),
        Shown(name="moment", heading="when at the visit"),
    ]
    return html_table(
        rows, shown, caption="Readings of this part while it was in.",
        none="No reading of this part is on the record.",
    )  # fmt: skip


def _source_lines(life: Any, run: Run) -> Any:
    lines = plain(run.table("service_lines"))
    tickets = {t for t in (life.put_in_ticket, life.ticket) if t}
    ids = set(str(life.line_ids or "").split(";")) - {""}
    rows = lines[
        (lines["line_id"].isin(ids) | lines["ticket"].isin(tickets))
        & (lines["unit_id"] == life.unit_id)
    ]
    rows = rows.sort_values(["service_date", "source_file", "source_row"])
    rows = rows.assign(row=[f"{r.source_file} {r.source_row}" for r in records(rows)])
    shown = [
        Shown(name="row", heading="row"),
        date_column("service_date", "day"),
        Shown(name="ticket", heading="job"),
        Shown(name="complaint", heading="complaint"),
        Shown(name="work_done", heading="work", wide=True),
        Shown(name="description", heading="line"),
        Shown(name="part_number", heading="part"),
    ]
    return html_table(
        rows, shown, caption="All rows of the jobs at both ends, as the export holds them.",
        none="No row of the export stands behind this life.",
    )  # fmt: skip
