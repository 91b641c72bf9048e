"""Whether a machine's failures come more often with its age: table and curves of the evidence."""

from collections.abc import Callable
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.facts import facts_of, plain
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.results.marks import in_percent, steps
from dutylife.reports.tables import Shown, figure_column, html_table

MOST_FIGURES = 3  # pairs drawn, each by the machine's age and by calendar time
_AXIS = {
    "machine age": "age of the machine [days]",
    "calendar": "since the record's first watched day [days]",
}


def events_with_age(run: Run) -> Section:
    """Return by component and duty whether failures renew or trend, and their mean curves."""
    table, curves = plain(run.table("recurrence")), plain(run.table("recurrence_curves"))
    given = facts_of(run)
    tested = table[table["p_renewal"].notna()]
    trends = tested[tested["trend"] != "renewals"]
    few = len(table) - len(tested)
    answer = (
        "No component in any duty has enough failures in a row on its machines to tell a trend."
        if tested.empty
        else f"{len(trends)} of {wording.count(len(tested), 'pair')} of component and duty "
        f"{'shows' if len(trends) == 1 else 'show'} a trend with the age of the machine that the "
        f"life law overlooks; {few} more have too few failures in a row to tell."
    )
    sentences = (
        "The laws above take each new part as a new start. That is tested here by whether later "
        "lives on a machine end sooner or later than earlier ones; chances are adjusted for the "
        "number of pairs tested (false discovery, 0.05). No interval goes by this table. The two "
        "tests for a steady rate stand beside it; they flag plain wear-out too.",
    )
    order = table.sort_values(
        ["p_adjusted", "n_events", "component", "duty"], ascending=[True, False, True, True],
        na_position="last",
    )  # fmt: skip
    html = html_table(
        _shown_rows(order), _columns(),
        caption="Failures without comebacks; the power is that of the machine's age in expected "
        f"failures, 1 is steady ({in_percent(given.confidence_level)}, failures taken as "
        "independent).", none="No component has a life.",
    )  # fmt: skip
    first = trends if len(trends) else tested.sort_values("n_events", ascending=False).head(1)
    drawn = [
        figures.as_figure(_drawer(rows, str(by), given.confidence_level))
        for cell in first.head(MOST_FIGURES).itertuples()
        for by, rows in curves[
            (curves["component"] == cell.component) & (curves["duty"] == cell.duty)
        ].groupby("counted_by", sort=False)
    ]
    parts: tuple[Markup, ...] = (html, side_by_side(drawn)) if drawn else (html,)
    return Section("Do failures come more often as machines age", answer, sentences, parts)


def _columns() -> list[Shown]:
    return [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        figure_column("n_units", "machines"),
        figure_column("n_events", "failures"),
        figure_column("n_failed_in_a_row", "of these in a row"),
        figure_column("p_adjusted", "chance if renewals, adjusted", write=_chance, missing=""),
        figure_column("p_laplace", "chance if steady, Laplace", write=_chance, missing=""),
        figure_column(
            "p_military_handbook", "chance if steady, MIL-HDBK-189", write=_chance, missing=""
        ),
        Shown(name="power_said", heading="power", number=True),
        Shown(name="verdict", heading="what it says", wide=True),
    ]


def _chance(value: float) -> str:
    return wording.number(value, 2)


def _shown_rows(table: pd.DataFrame) -> pd.DataFrame:
    said = [
        "" if pd.isna(p) else f"{wording.number(p)} ({wording.number(lo)} to {wording.number(hi)})"
        for p, lo, hi in zip(
            table["power"], table["power_lower"], table["power_upper"], strict=True
        )
    ]
    return table.assign(power_said=said)


def _drawer(rows: pd.DataFrame, counted_by: str, level: float) -> Callable[[Any], str]:
    return lambda axes: draw_mean_events(axes, rows, counted_by, level)


def draw_mean_events(axes: Any, rows: pd.DataFrame, counted_by: str, level: float) -> str:
    """Draw mean failures of a position in steps with their range, and say what it shows.

    Parameters
    ----------
    axes : Axes
    rows : DataFrame, table "recurrence_curves"
        Rows of one component, duty and way of counting.
    counted_by : str
        "machine age" or "calendar".
    level : float
        Confidence level of the bounds. [1]
    """
    of = rows.sort_values("age_days")
    steps(
        axes, of["age_days"], of["mean_events"], of["mean_events_lower"], of["mean_events_upper"],
        first=0.0, label="mean of those watched", range_label=in_percent(level),
    )  # fmt: skip
    name = f"{of['component'].iloc[0]}, {of['duty'].iloc[0]}"
    axes.set(xlabel=_AXIS[counted_by], ylabel="failures so far, mean [1]", title=name)
    axes.set(xlim=(0, None), ylim=(0, None))
    axes.legend(loc="upper left")
    last = of.iloc[-1]
    return (
        f"{name}, by {counted_by}: {wording.number(last['mean_events'])} failures on average by "
        f"day {wording.number(last['age_days'], 4)}; a straight line is a steady rate, a curve "
        "that bends up is failures that come more often."
    )
