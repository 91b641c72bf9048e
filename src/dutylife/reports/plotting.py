"""One plot in a live notebook: finds the figure for a result's kind, or for a table's columns."""

from typing import Any

import pandas as pd

from dutylife.errors import RunError
from dutylife.reports import figures
from dutylife.reports.results import Units, drawer_of, drawers

RESULT_INCHES = (6.4, 4.2)  # a sentence over the axes asks for more room than a table's curves

# columns that say which table it is, the columns that name one curve of it, x, y, labels
_CURVES: tuple[tuple[tuple[str, ...], tuple[str, ...], str, str, str, str], ...] = (
    (
        ("age", "cost_per_1000_hours"), ("component", "duty"), "age", "cost_per_1000_hours",
        "age at replacement [clock of the component]", "cost per 1000 meter units [currency]",
    ),
    (
        ("age", "survival"), ("component", "duty", "clock"), "age", "survival",
        "age of the part [clock of the component]", "share still working [1]",
    ),
    (
        ("from_date", "mean", "p90", "months"), ("part_number", "plan"), "from_date", "mean",
        "calendar month", "demand [pieces a month]",
    ),
)  # fmt: skip


def plot_result(result: Any, units: Units, which: dict[str, Any]) -> Any:
    """Draw a result of models, decisions or stock, or a table; see `dutylife.reports.plot`."""
    if isinstance(result, pd.DataFrame):
        return plot_table(result, which)
    draw = drawer_of(result)
    if draw is None:
        known = ", ".join(sorted(kind.__name__ for kind in drawers()))
        raise RunError(
            f"A result of type '{type(result).__name__}' can't be plotted.", "plot(result)",
            f"give a table of the run, or one of: {known}",
        )  # fmt: skip
    if which:
        raise RunError(
            f"A {type(result).__name__} is drawn whole; {', '.join(which)} can't pick rows of it.",
            "plot(result, ...)", "leave it out, or give a table of the run",
        )  # fmt: skip
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=RESULT_INCHES, layout="constrained")
    try:
        draw(axes, result, units)
    except Exception:
        plt.close(figure)  # half a picture helps no one
        raise
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#dfe4e1", linewidth=0.7)
    axes.set_axisbelow(True)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="best", frameon=True, framealpha=0.85, edgecolor="none", fontsize=8.5)
    return axes


def plot_table(frame: pd.DataFrame, which: dict[str, Any]) -> Any:
    """Draw the rows of a table picked by ``which``; see `dutylife.reports.plot`."""
    import matplotlib.pyplot as plt

    rows = frame
    for name, value in which.items():
        if name not in frame:
            raise RunError(
                f"The table has no column '{name}'.", "plot(result, ...)",
                "it has: " + ", ".join(map(str, frame.columns)),
            )  # fmt: skip
        rows = rows[rows[name] == value]
    if rows.empty:
        raise RunError("No row is left to plot.", f"plot(result, {which})", "check the values")
    if {"event", "exit_hours"} <= set(rows.columns):
        _, axes = plt.subplots(figsize=figures.SIZE_INCHES, layout="constrained")
        figures.draw_lives(axes, rows)
        return axes
    for columns, one_curve, x, y, x_label, y_label in _CURVES:
        if set(columns) <= set(rows.columns):
            return _curves(rows, [c for c in one_curve if c in rows], x, y, x_label, y_label)
    raise RunError(
        "No figure fits these columns.", "plot(result)",
        "tables that can be drawn: failure_events, survival_curves, cost_curves, demand_forecast",
    )  # fmt: skip


def _curves(
    rows: pd.DataFrame, one_curve: list[str], x: str, y: str, x_label: str, y_label: str
) -> Any:
    import matplotlib.pyplot as plt

    if x == "from_date":
        rows = rows[(rows["months"] == 1) & (rows["from_date"].dt.day == 1)]
    groups = (
        [(name, of) for name, of in rows.groupby(one_curve, observed=True)]
        if one_curve
        else [((), rows)]
    )
    most = len(figures.COLOURS)
    if len(groups) > most:
        raise RunError(
            f"{len(groups)} curves are too many for one figure; {most} can be told apart.",
            "plot(result)",
            "pick with " + ", ".join(f"{c}=..." for c in one_curve),
        )
    _, axes = plt.subplots(figsize=figures.SIZE_INCHES, layout="constrained")
    style = "steps-post" if y == "survival" else "default"
    for place, (name, of) in enumerate(groups):
        of = of.sort_values(x)
        axes.plot(
            of[x], of[y], drawstyle=style, color=figures.COLOURS[place],
            linestyle=figures.DASHES[place], linewidth=2, label=", ".join(map(str, name)),
        )  # fmt: skip
    axes.set(xlabel=x_label, ylabel=y_label, ylim=(0, None))
    if one_curve:
        axes.legend(loc="best", frameon=False)
    return axes
