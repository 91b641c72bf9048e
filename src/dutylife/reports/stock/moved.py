"""What moved since last month, for the shop owner: levels and orders, and last month's forecast."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import day, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, figure_column, html_table, whole

LEVEL, ORDER, INTERVAL = "order-up-to level", "order now", "interval"
FIRST = 3  # changes told in the sentence
MATTERS = 1.1  # an interval that changes by less than a tenth is the same to a workshop
# each cause as the owner would say it, and as a sentence for the analyst
CAUSES: dict[str, tuple[str, str]] = {
    "program": ("a newer program", "last month's inputs, computed by this version"),
    "past rows": ("past rows corrected", "rows of earlier months edited, gone, late or read anew"),
    "settings": ("settings changed", "the settings file says something else"),
    "new exposure": ("parts ran on", "hours and days lived since, visits, parts changed in order"),
    "new failures": ("new failures", "failures since"),
    "past forecasts": ("how past forecasts did", "lives against the part's own series"),
    "calendar": ("a month on", "other months lie ahead; parts are older, or were renewed"),
    "parts used": ("parts asked for since", "use that no life explains, and the part's own series"),
    "shelf": ("shelf and parts list", "counts, open orders, prices, lead times"),
}
NO_MONTH = (
    "No earlier month is kept yet: when the run is made again next month, this part says what "
    "moved and why."
)


def since_day(about: dict[str, Any]) -> str:
    """Day of the month held against, in words; blank where there is none."""
    before = about.get("before")
    return day(pd.Timestamp(before["as_of"])) if before else ""


def moved_answers(tables: dict[str, pd.DataFrame], about: dict[str, Any]) -> list[str]:
    """Return one sentence for the terminal and run.json; none without an earlier month.

    Parameters
    ----------
    tables : dict of DataFrame
        moved, stock_plan and intervals of the run.
    about : dict
        Key "history" of run.json.
    """
    since = since_day(about)
    if not since:
        return []
    moved = plain(tables["moved"])
    n = {what: _changed(moved, what) for what in (INTERVAL, LEVEL, ORDER)}
    own = moved[moved["recommendation"] == INTERVAL].drop_duplicates("subject")
    ratio = own["value_after"] / own["value_before"]
    far = int((~((ratio > 1 / MATTERS) & (ratio < MATTERS))).sum())
    return [
        f"Since {since} {n[LEVEL]} of {wording.count(len(tables['stock_plan']), 'level')}, "
        f"{wording.count(n[ORDER], 'order')} and {n[INTERVAL]} of "
        f"{wording.count(n_intervals(tables['intervals']), 'interval')} changed"
        + (f", {far} of them by a tenth or more" if n[INTERVAL] else "")
    ]


def n_intervals(intervals: pd.DataFrame) -> int:
    """Recommended intervals: one renewal a cell, and its looks."""
    task = intervals["task"].astype("object").replace("run to failure", "replace")
    return len(intervals.assign(task=task).drop_duplicates(["component", "duty", "task"]))


def moved_levels(run: Run) -> Section:
    """Return the levels and orders that changed since last month, with why."""
    title = "What moved since last month"
    since = since_day(run.info.get("history", {}))
    if not since:
        return Section(title, NO_MONTH)
    moved, plan = plain(table_or_empty(run, "moved")), plain(run.table("stock_plan"))
    rows = part_rows(moved, plan)
    n = _changed(moved, LEVEL)
    levels = rows[rows["level_then"] != rows["level_now"]]
    first = [
        f"{r['part_number']} from {_pieces(r['level_then'])} to {_pieces(r['level_now'])}"
        for r in levels.head(FIRST).to_dict("records")
    ]
    answer = f"Since {since} {n} of {wording.count(len(plan), 'level')} changed"
    if first:
        more = f" and {len(levels) - FIRST} more" if len(levels) > FIRST else ""
        answer += f": {', '.join(first)}{more}"
    shown = [
        Shown(name="part_number", heading="part"),
        Shown(name="description", heading="description", under=True),
        Shown(name="level", heading="hold up to", unit="pieces, then and now", number=True),
        Shown(name="level_why", heading="because of", wide=True),
        Shown(name="order", heading="order today", unit="pieces, then and now", number=True),
        Shown(name="order_why", heading="because of", wide=True),
    ]
    table = html_table(
        rows, shown,
        caption="Pieces each cause added or took away; together they are the whole change.",
        none="No level and no order changed.",
    )  # fmt: skip
    return Section(title, answer + ".", (), (table,))


def part_rows(moved: pd.DataFrame, stock_plan: pd.DataFrame) -> pd.DataFrame:
    """A row for each part whose level or order changed, the largest change of level first.

    Parameters
    ----------
    moved, stock_plan : DataFrame, the tables of those names, words as text
    """
    about = stock_plan.set_index("part_number")
    out = []
    for part, mine in moved[moved["part_number"] != ""].groupby("part_number", sort=True):
        row: dict[str, Any] = {"part_number": part, "description": ""}
        if part in about.index:
            row["description"] = about.at[part, "description"]
        for name, what in (("level", LEVEL), ("order", ORDER)):
            own = mine[mine["recommendation"] == what].sort_values("cause_order")
            row |= {name: "as before", f"{name}_why": "", f"{name}_then": 0.0, f"{name}_now": 0.0}
            if len(own):
                then, now = (float(own.iloc[0][c]) for c in ("value_before", "value_after"))
                row[name] = f"{_pieces(then)}, now {_pieces(now)}"
                row[f"{name}_why"] = why(own, lambda value: f"{value:+g}")
                row[f"{name}_then"], row[f"{name}_now"] = then, now
        if row["order_why"] == row["level_why"]:
            row["order_why"] = "the same"
        out.append(row)
    names = ["part_number", "description", *(f"{n}{e}" for n in ("level", "order")
             for e in ("", "_why", "_then", "_now"))]  # fmt: skip
    frame = pd.DataFrame(out, columns=names)
    far = (frame["level_now"] - frame["level_then"]).abs()
    order = frame.assign(far=far.fillna(float("inf")))
    order = order.sort_values(["far", "part_number"], ascending=[False, True], kind="stable")
    return order.drop(columns="far").reset_index(drop=True)


def why(own: pd.DataFrame, write: Any) -> str:
    """Causes of one change with their shares, in the order they were taken."""
    told = []
    for row in own.to_dict("records"):
        cause = CAUSES[row["cause"]][0]
        change = row["cause_change"]
        if pd.isna(change):
            told.append(f"{cause} ({'ends' if pd.isna(row['cause_after']) else 'begins'})")
        else:
            told.append(f"{cause} {write(float(change))}".replace("-", "\u2212"))
    return ", ".join(told)


def last_forecast(run: Run) -> Section:
    """Return the newest forecast whose month has ended, beside what was asked for."""
    title = "Last month's forecast and what came"
    scores = plain(table_or_empty(run, "forecast_scores"))
    said = scores[(scores["method"] == "forecast") & (scores["months"] == 1.0)]
    if said.empty:
        return Section(title, "No forecast of a kept month has run its month yet.")
    last = said[said["as_of"] == said["as_of"].max()]
    asked = last[(last["asked"] > 0) | (last["p95"] > 0)]
    over = int((asked["asked"] > asked["p95"]).sum())
    answer = (
        f"Of the month after {day(last['as_of'].iloc[0])}: {int((asked['under_p80']).sum())} of "
        f"{wording.count(len(asked), 'part')} stayed within what 8 months in 10 were forecast to "
        f"need, and {wording.count(over, 'part')} went beyond what 19 in 20 were"
    )
    rows = asked.assign(far=asked["asked"] - asked["p80"]).sort_values(
        ["far", "part_number"], ascending=[False, True], kind="stable"
    )
    rows = rows[rows["asked"] > rows["p80"]]
    shown = [
        Shown(name="part_number", heading="part"),
        figure_column("p50", "half of such months stay within", "pieces"),
        figure_column("p80", "8 in 10 within", "pieces"),
        figure_column("p95", "19 in 20 within", "pieces"),
        figure_column("asked", "asked for", "pieces"),
    ]
    table = html_table(
        rows, shown, caption="Parts of which more was asked for than 8 months in 10 should need.",
        none="Of no part more was asked for than 8 months in 10 should need.",
    )  # fmt: skip
    return Section(title, answer + ".", (), (table,))


def _changed(moved: pd.DataFrame, what: str) -> int:
    return int(moved.loc[moved["recommendation"] == what, "subject"].nunique())


def _pieces(value: float) -> str:
    return "none" if pd.isna(value) else whole(value)
