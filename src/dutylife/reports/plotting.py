"""One plot of a table in a live notebook: finds out which figure fits the columns."""

from typing import Any

import pandas as pd

from dutylife.errors import RunError
from dutylife.reports import figures

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


def plot_table(result: Any, which: dict[str, Any]) -> Any:
    """Draw the rows picked by ``which``; see `dutylife.reports.plot`."""
    import matplotlib.pyplot as plt

    frame = result if isinstance(result, pd.DataFrame) else getattr(result, "table", None)
    if not isinstance(frame, pd.DataFrame):
        raise RunError(
            f"A {type(result).__name__} can't be plotted.", "plot(result)",
            "give a table of the run, or a result with .table",
        )  # fmt: skip
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
