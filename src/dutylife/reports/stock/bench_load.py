"""Section of the weeks ahead at the bench: a sentence, a table, one figure."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.maintenance.visits_section import SOON_DAYS
from dutylife.reports.tables import Shown, date_column, figure_column, html_table, whole
from dutylife.stock.bench.arrivals import ALL

SHOWN_WEEKS = 13
BUSIER = 1.25  # times the mean week: from here on the busiest week is told as a rush; our proposal


def weeks_ahead(run: Run) -> Section:
    """Return the weeks ahead at the bench: machines, labour hours, loaners."""
    given, rows = facts_of(run), plain(table_or_empty(run, "bench_forecast"))
    title = "The weeks ahead at the bench"
    notes = _notes(run)
    if rows.empty:
        return Section(title, notes[0] if notes else "This run made no forecast of the bench.")
    whole_shop = rows[rows["equipment_class"] == ALL].sort_values("from_date")
    further = [_method(whole_shop, given), *map(wording.without_keys, notes)]
    visits = table_or_empty(run, "visit_plan")
    if len(visits) and given.plan_in_force != "recommended":
        further.insert(1, beside_visits(visits, whole_shop, given))
    parts = (
        _by_week(whole_shop.head(SHOWN_WEEKS)),
        figures.as_figure(lambda axes: draw_weeks(axes, whole_shop)),
        _by_class(rows, whole_shop),
    )
    return Section(title, bench_answer(whole_shop), tuple(further), parts)


def bench_answer(weeks: pd.DataFrame) -> str:
    """Say the coming week, the weeks over the workshop's hours, and the busiest one.

    Parameters
    ----------
    weeks : DataFrame, table "bench_forecast"
        Rows of all machines together, by week.

    Returns
    -------
    str
    """
    first = weeks.iloc[0]
    text = ""
    over = weeks[weeks["labour_hours_p50"] > weeks["workshop_hours"]]
    may = weeks[weeks["labour_hours_p90"] > weeks["workshop_hours"]]
    if len(over):
        hours = wording.number(float(over["workshop_hours"].iloc[0]))
        text = (
            f"More work than the workshop's {hours} h in {wording.count(len(over), 'week')} of the "
            f"{len(weeks)} ahead, first in the {_week(over.iloc[0])}. "
        )
    elif len(may):
        hours = wording.number(float(may["workshop_hours"].iloc[0]))
        text = (
            f"In {wording.count(len(may), 'week')} of the {len(weeks)} ahead the work may go over "
            f"the workshop's {hours} h (in more than 1 such week in 10), first in the "
            f"{_week(may.iloc[0])}. "
        )
    text += _one(first)
    busiest = weeks.loc[weeks["machines_mean"].idxmax()]
    if float(busiest["machines_mean"]) >= BUSIER * float(weeks["machines_mean"].mean()):
        text += f" A rush is seen ahead: {_one(busiest, start=False)}"
    return text


def _week(row: Any) -> str:
    return f"week of {day(row['from_date'])}"


def _one(row: Any, *, start: bool = True) -> str:
    """One week in words."""
    machines = "1 machine" if row["machines_p50"] == 1 else f"{whole(row['machines_p50'])} machines"
    text = f"{_week(row)}: about {machines}, 9 in 10 such weeks at most " + (
        f"{whole(row['machines_p90'])}"
    )
    if np.isfinite(row["labour_hours_p50"]):
        text += f"; about {wording.number(row['labour_hours_p50'], 2)} h of work, at most "
        text += f"{wording.number(row['labour_hours_p90'], 2)} h"
        if np.isfinite(row["workshop_hours"]):
            text += f", of the workshop's {wording.number(row['workshop_hours'])} h"
    if np.isfinite(row["loaners_p90"]):
        text += f"; {wording.count(row['loaners_p90'], 'loaner')}"
    return (text[0].upper() + text[1:] if start else text) + "."


def _method(weeks: pd.DataFrame, given: Facts) -> str:
    text = (
        f"Machines that come in for whatever reason, if {wording.plan_words(given.plan_in_force)}. "
        '"About" is the middle: half of such weeks bring fewer; 9 in 10 stay at or under the '
        "second figure."
    )
    if weeks["loaners_p90"].notna().any():
        text += (
            " Loaners: machines in the shop at once, if each of their users is lent one; enough "
            "on 9 of 10 days."
        )
    return text


def beside_visits(visits: pd.DataFrame, weeks: pd.DataFrame, given: Facts) -> str:
    """Say why these weeks and the visits of the maintenance page are different counts.

    Parameters
    ----------
    visits : DataFrame, table "visit_plan"
    weeks : DataFrame
        Rows of table "bench_forecast" of all machines together, the next one first.
    given : Facts

    Returns
    -------
    str
    """
    end = pd.Timestamp(given.as_of) + pd.Timedelta(days=SOON_DAYS)
    soon = int((visits["due_on"] <= end).sum())
    month = float(weeks.head(4)["machines_mean"].sum()) / 28 * SOON_DAYS
    return (
        f"The visits of the maintenance page are another count: {wording.count(soon, 'visit')} in "
        f"the next {SOON_DAYS} days if the proposed plan begins, with all that is overdue then; "
        f"here about {whole(round(month))} machines in the same days, without it. Planned visits "
        "come on top at first; failures, and with them these machines, get fewer later."
    )


def _notes(run: Run) -> list[str]:
    found = plain(table_or_empty(run, "findings"))
    own = found[found["table"] == "bench_forecast"]
    return [f"{m}" for m in own["message"]]


def _by_week(weeks: pd.DataFrame) -> Any:
    shown = [
        date_column("from_date", "week of"),
        figure_column("machines_p50", "machines", "about", write=whole),
        figure_column("machines_p90", "machines", "9 in 10 at most", write=whole),
        *_work_columns(weeks),
    ]
    return html_table(
        weeks, shown, caption=f"All machines, the next {wording.count(len(weeks), 'week')}."
    )


def _work_columns(rows: pd.DataFrame) -> list[Shown]:
    """Columns of hours and loaners, where the record has them."""
    shown: list[Shown] = []
    if rows["labour_hours_p50"].notna().any():
        shown += [
            figure_column("labour_hours_p50", "labour", "hours, about"),
            figure_column("labour_hours_p90", "labour", "hours, 9 in 10 at most"),
        ]
    if rows["loaners_p90"].notna().any():
        shown.append(figure_column("loaners_p90", "loaners", "enough on 9 of 10 days", write=whole))
    return shown


def _by_class(rows: pd.DataFrame, whole_shop: pd.DataFrame) -> Any:
    """Each class in the coming week and in the busiest."""
    when = {"next": whole_shop["from_date"].iloc[0]}
    when["busiest"] = whole_shop.loc[whole_shop["machines_mean"].idxmax(), "from_date"]
    names = sorted(set(rows["equipment_class"]) - {ALL})
    table = pd.DataFrame({"equipment_class": [*names, ALL]})
    shown = [Shown(name="equipment_class", heading="class")]
    for name, date in when.items():
        own = rows[rows["from_date"] == date].set_index("equipment_class")
        middle = own["machines_p50"].reindex(table["equipment_class"]).to_numpy()
        high = own["machines_p90"].reindex(table["equipment_class"]).to_numpy()
        table[name] = [f"{whole(a)} to {whole(b)}" for a, b in zip(middle, high, strict=True)]
        heading = "coming week" if name == "next" else "busiest week"
        shown.append(Shown(name=name, heading=f"{heading}, {day(date)}", unit="machines",
                           number=True))  # fmt: skip
    return html_table(
        table, shown,
        caption="By class: half of such weeks stay at or under the first figure, 9 in 10 at or "
        "under the second.",
    )  # fmt: skip


def draw_weeks(axes: Any, weeks: pd.DataFrame) -> str:
    """Weeks ahead with their range: labour hours beside the workshop's, else machines.

    Parameters
    ----------
    axes : Axes
    weeks : DataFrame, table "bench_forecast"
        Rows of all machines together, by week.

    Returns
    -------
    str
        What the figure shows.
    """
    in_hours = bool(weeks["labour_hours_p50"].notna().all())
    names = ("labour_hours_p50", "labour_hours_p90") if in_hours else (
        "machines_p50", "machines_p90"
    )  # fmt: skip
    unit = "h" if in_hours else "machines"
    place = np.arange(len(weeks))
    middle, high = weeks[names[0]].to_numpy(float), weeks[names[1]].to_numpy(float)
    axes.vlines(place, middle, high, color=figures.COLOURS[0], linewidth=4, alpha=0.45,
                label="from the middle to 9 in 10 such weeks")  # fmt: skip
    axes.plot(place, middle, linestyle="none", marker="o", markersize=4, color="#17211f",
              label="about")  # fmt: skip
    top = float(high.max())
    stated = float(weeks["workshop_hours"].iloc[0])
    said = ""
    if in_hours and np.isfinite(stated):
        axes.axhline(stated, color=figures.COLOURS[1], linestyle=figures.DASHES[1], linewidth=2,
                     label=f"the workshop's {wording.number(stated)} h a week")  # fmt: skip
        top = max(top, stated)
        said = f"; the workshop has {wording.number(stated)} h a week"
    months = weeks["from_date"].dt.to_period("M")
    starts = np.flatnonzero((months != months.shift()).to_numpy())
    starts = starts[:: max(len(starts) // 6, 1)]
    dates = [day(weeks["from_date"].iloc[i]).rsplit(" ", 1)[0] for i in starts]
    axes.set_xticks(starts, dates)
    axes.set(
        ylabel="labour in the week [h]" if in_hours else "arriving in the week [machines]",
        xlabel="week that begins [date]", ylim=(0, max(top, 1.0) * 1.45),
        title="All machines, week by week",
    )  # fmt: skip
    axes.legend(loc="upper left")
    busiest = int(np.argmax(middle))
    return (
        f"All machines by week, {day(weeks['from_date'].iloc[0])} to "
        f"{day(weeks['from_date'].iloc[-1])}: about {wording.number(float(middle.min()), 2)} to "
        f"{wording.number(float(middle.max()), 2)} {unit} a week, most in the week of "
        f"{day(weeks['from_date'].iloc[busiest])}{said}."
    )
