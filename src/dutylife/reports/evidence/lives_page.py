"""The lives behind the laws, by component and duty, each with the source rows it stands on."""

from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run, digest_of, open_run
from dutylife.reports.facts import Facts, day, facts_of, plain, records
from dutylife.reports.most import MOST_LIVES, first_of
from dutylife.reports.tables import templates
from dutylife.reports.whole_page import links_of_run, write_whole_page

NAME = "lives.html"
ROWS_NAMED = 6  # source rows named for one life; a job of many lines says how many more
_PART = ["unit_id", "component", "position"]
# what is counted of all lives; the rest of a row is looked at for those that are shown
_COUNTED = [
    *_PART, "duty", "life_number", "spell", "event", "exit_days", "exit_hours", "clock_source",
    "is_comeback",
]  # fmt: skip
_SAY = {"failed": "failed", "replaced": "changed while able", "running": "still running",
        "lost": "not followed further"}  # fmt: skip
_CSS = """
.lives details { border-top: 1px solid #c9cfcb; padding: 6px 0; }
.lives summary { cursor: pointer; font-weight: 600; min-height: 24px; }
.lives summary span { font-weight: 400; color: #4a5653; }
.lives table { font-size: 14px; }
@media (min-width: 640px) { .lives table { min-width: 760px; } }
@media print { .lives table { min-width: 0; } }
"""


def anchor_of(component: str, duty: str) -> str:
    """Return the name under which the page holds the lives of a component in a duty."""
    return "lives-" + digest_of(component, duty, length=10)


def lives_link(component: str, duty: str, text: str) -> Markup:
    """Return a link from another page to the lives of a component in a duty; text is escaped.

    Examples
    --------
    >>> str(lives_link("air filter", "harbour", "59 lives"))
    '<a href="lives.html#lives-48f32ae932">59 lives</a>'
    """
    return Markup('<a href="{}#{}">{}</a>').format(NAME, anchor_of(component, duty), text)


def lives_with_rows(run: Run, parts: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return table "failure_events" with the source rows of both ends of each life.

    Parameters
    ----------
    run : Run
    parts : DataFrame with unit_id, component and position, optional
        Parts whose lives are wanted; all when not given.

    Returns
    -------
    DataFrame
        Words as plain text; ``began_rows`` and ``ended_rows`` name file and rows ("lines.csv 721,
        722"), blank where no line of the record stands behind that end; ``put_in_ticket``.
    """
    table, lines = run.table("failure_events"), run.table("service_lines")
    if parts is not None:  # chosen before words become plain: those of a large fleet take gigabytes
        wanted = pd.MultiIndex.from_frame(parts[_PART])
        table = table[pd.MultiIndex.from_frame(plain(table[_PART])).isin(wanted)]
    lives = plain(table).sort_values([*_PART, "life_number", "spell"], kind="stable")
    if parts is not None:
        joined = lives["line_ids"].dropna().astype(str)
        ids = {line for of_life in joined for line in of_life.split(";")}
        lines = lines[lines["line_id"].isin(ids)]
    place = dict(
        zip(
            lines["line_id"].astype(str),
            zip(lines["source_file"].astype(str), lines["source_row"].tolist(), strict=True),
            strict=True,
        )
    )
    lives["ended_rows"] = [_rows_of(ids, place) for ids in lives["line_ids"]]
    # what ended one life put in the next; a later spell of the same life keeps its beginning
    first = lives.groupby([*_PART, "life_number"], sort=False).agg(
        ended_rows=("ended_rows", "last"), ticket=("ticket", "last")
    )
    before = first.groupby(_PART, sort=False).shift()
    key = pd.MultiIndex.from_frame(lives[[*_PART, "life_number"]])
    began = before.reindex(key)
    lives["began_rows"] = began["ended_rows"].fillna("").to_numpy()
    lives["put_in_ticket"] = began["ticket"].fillna("").to_numpy()
    return lives.reset_index(drop=True)


def _rows_of(line_ids: Any, place: dict[str, tuple[str, int]]) -> str:
    if not isinstance(line_ids, str) or not line_ids:
        return ""
    found: dict[str, list[int]] = {}
    for line in line_ids.split(";"):
        file, row = place.get(line, ("", 0))
        found.setdefault(file, []).append(row)
    told = []
    for file, rows in sorted(found.items()):
        if not file:
            told.append(wording.count(len(rows), "line") + " not in the record any more")
            continue
        few = ", ".join(map(str, sorted(rows)[:ROWS_NAMED]))
        more = len(rows) - ROWS_NAMED
        told.append(f"{file} {few}" + (f" and {more} more" if more > 0 else ""))
    return "; ".join(told)


def age_words(life: Any, given: Facts) -> str:
    """Age of a life at its end on both clocks, as far as they are known."""
    told = []
    if pd.notna(life.exit_hours):
        error = life.age_se_hours
        about = "about " if pd.notna(error) and error > 1 else ""
        told.append(f"{about}{wording.number(life.exit_hours)} {given.meter_short}")
    if pd.notna(life.exit_days):
        told.append(wording.count(int(life.exit_days), "day"))
    return ", ".join(told) or "not known"


def write_lives_page(folder: str | Path) -> Path:
    """Write DIR/lives.html: every life of the run, by component and duty, with its source rows.

    Each component and duty is folded up under a heading that other pages link to.

    Parameters
    ----------
    folder : str or Path
        Run DIR with the tables failure_events, service_lines and life_models.

    Returns
    -------
    Path
    """
    run = open_run(Path(folder).resolve())
    given, cell = facts_of(run), ["component", "duty"]
    every = plain(run.table("failure_events")[_COUNTED])
    every = every.sort_values([*_PART, "life_number", "spell"], kind="stable")
    first = every.groupby(cell, sort=False).head(MOST_LIVES)
    whole = dict(list(every.groupby(cell, sort=True)))
    few = first if len(first) < len(every) else None
    lives = lives_with_rows(run, few)
    models = plain(run.table("life_models"))
    on = {
        (r.component, r.duty): f"its law stands on {wording.whole(r.n_lives)}, "
        f"{wording.whole(r.n_failed)} failed"
        for r in records(models)
    }
    cells = [
        ((str(component), str(duty)), rows.head(MOST_LIVES))
        for (component, duty), rows in lives.groupby(cell, sort=True)
        if (component, duty) in whole
    ]
    blocks = [
        templates()
        .get_template("lives.html")
        .render(
            anchor=anchor_of(*key),
            name=", ".join(w for w in key if w),
            in_short=_in_short(whole[key], on.get(key, "")),
            lives=_shown(rows, given),
        )
        for key, rows in cells
    ]
    answer = (
        f"{wording.count(len(every), 'life', 'lives')} of parts, "
        f"{wording.count(int((every['event'] == 'failed').sum()), 'failure')}, in "
        f"{wording.count(len(cells), 'pair')} of component and duty."
    )
    body = Markup(
        '<h1>Lives</h1>\n<section class="dutylife lives">\n<p class="answer">{}</p>\n<p>{}</p>\n'
        "<p>For whoever checks a number: every life a law stands on, and the rows of the export "
        "that say so. A row number counts the header as row 1. Open a line to see its lives.</p>\n"
        "{}</section>"
    ).format(answer, left_out_words(every, models), Markup("".join(blocks)))
    return write_whole_page(
        run.folder / NAME, "Lives", body, given, links_of_run("lives"), css=_CSS
    )


def left_out_words(failure_events: pd.DataFrame, life_models: pd.DataFrame) -> str:
    """Say how many lives the laws stand on, and why not on all.

    Parameters
    ----------
    failure_events, life_models : DataFrame
        Tables of those names, words as plain text.

    Returns
    -------
    str
    """
    used = int(life_models["n_lives"].sum())
    unknown = failure_events["clock_source"] == "unknown"
    back = ~unknown & failure_events["is_comeback"].fillna(False).astype(bool)
    rest = len(failure_events) - used - int(unknown.sum()) - int(back.sum())
    left = [
        f"{wording.count(n, 'life', 'lives')} {why}"
        for n, why in (
            (int(unknown.sum()), "of unknown age"),
            (int(back.sum()), "that ended in a comeback"),
            (rest, "whose age is known too roughly or that were seen too short a time"),
        )
        if n > 0
    ]
    whole = (
        f"The laws stand on {wording.count(used, 'life', 'lives')} with "
        f"{wording.count(life_models['n_failed'].sum(), 'failure')}"
    )
    return f"{whole}; left out of them: {', '.join(left)}." if left else f"{whole}: all of them."


def _in_short(rows: pd.DataFrame, law: str) -> str:
    failed = int((rows["event"] == "failed").sum())
    unknown = int((rows["exit_days"].isna() & rows["exit_hours"].isna()).sum())
    told = f"{wording.count(len(rows), 'life', 'lives')}, {wording.whole(failed)} failed"
    told += f", {wording.whole(unknown)} of unknown age" if unknown else ""
    told = f"{told}; {law}" if law else told
    first = first_of(len(rows), MOST_LIVES, "life", "lives")
    return f"{told}; {first} are here, table failure_events holds all" if first else told


def _shown(rows: pd.DataFrame, given: Facts) -> list[tuple[str, ...]]:
    rows = rows.sort_values(["unit_id", "position", "life_number", "spell"], kind="stable")
    return [
        (
            life.unit_id + (f", {life.position}" if life.position else ""),
            str(life.life_number) + (f".{life.spell}" if life.spell > 1 else ""),
            day(life.installed_on) or "not known",
            life.began_rows,
            day(life.ended_on),
            _SAY.get(life.event, life.event)
            + (": " + life.failure_mode if life.failure_mode else ""),
            age_words(life, given),
            life.ended_rows,
        )
        for life in records(rows)
    ]
