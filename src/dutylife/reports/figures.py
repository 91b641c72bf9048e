"""One function for each figure: draws on the Axes it is given and says in words what it shows."""

import base64
import io
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.reports import facts
from dutylife.reports.facts import Facts

# seaborn's "colorblind" palette (its import alone takes 2 to 3 s), each with its own dash,
# since four colours cannot be told apart in grey print
COLOURS = ("#0173b2", "#d55e00", "#029e73", "#cc78bc", "#4a5653")
DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1)))
SIZE_INCHES = (5.2, 3.3)  # small, so that its text is still readable at a phone's width
# fixed margins with room for five-figure labels: working them out for each figure doubles its time
PLACE = (0.14, 0.19, 0.84, 0.71)
_STYLE: Any = {
    "svg.hashsalt": "dutylife", "svg.fonttype": "path", "font.family": "DejaVu Sans",
    "font.size": 10.0, "axes.spines.top": False, "axes.spines.right": False,
    "axes.grid": True, "grid.color": "#dfe4e1", "grid.linewidth": 0.7, "axes.axisbelow": True,
    "axes.edgecolor": "#4a5653", "axes.titlesize": 10.5, "axes.titleweight": "bold",
    "axes.titlelocation": "left", "legend.frameon": False, "legend.fontsize": 9.0,
}  # fmt: skip


def as_figure(draw: Callable[[Any], str]) -> Markup:
    """Draw one figure as an image inside the page, its description beside it for those who
    can't see it; the same bytes each time.

    Parameters
    ----------
    draw : callable
        Takes an Axes, returns what the figure shows in words.
    """  # noqa: D205
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=SIZE_INCHES)
        alt = draw(figure.add_axes(PLACE))
        held = io.BytesIO()
        figure.savefig(held, format="svg", metadata={"Date": None, "Creator": None})
    source = "data:image/svg+xml;base64," + base64.b64encode(held.getvalue()).decode("ascii")
    alt = wording.unbroken(alt)
    return Markup('<figure><img alt="{}" src="{}" /><figcaption>{}</figcaption></figure>').format(
        alt, source, alt
    )


def law_survival(age: np.ndarray, distribution: str, shape: float, scale: float) -> np.ndarray:
    """Share still working at each age under a law of ``life_models``.

    Parameters
    ----------
    age : ndarray, shape (n,)
        On the law's clock, >= 0.
    distribution : str
        "weibull", "exponential" or "lognormal" (scale = median life, shape = 1 / log sd).
    shape, scale : float
        Shape [1]; scale on the clock of ``age``.

    Returns
    -------
    ndarray, shape (n,)

    Examples
    --------
    >>> law_survival(np.array([0.0, 100.0]), "weibull", 2.0, 100.0).round(3).tolist()
    [1.0, 0.368]
    """
    if distribution == "lognormal":
        from scipy.special import ndtr

        with np.errstate(divide="ignore"):
            return np.asarray(ndtr(-shape * np.log(age / scale)))
    return np.asarray(np.exp(-((age / scale) ** (1.0 if distribution == "exponential" else shape))))


def draw_costs(axes: Any, curve: pd.DataFrame, interval: Any, money: str, given: Facts) -> str:
    """Long-run cost by replacement age, the recommended age, and the stretch nearly as cheap.

    Parameters
    ----------
    axes : Axes
    curve : DataFrame, table "cost_curves"
        Rows of one component and duty.
    interval : named row of table "intervals"
    money : str
        Unit of the cost.
    given : Facts

    Returns
    -------
    str
        What the figure shows.
    """
    clock = str(curve["clock"].iloc[0])
    unit = given.meter_short if clock == "hours" else "days"
    advised = float(interval.interval_hours if clock == "hours" else interval.interval_days)
    rows = curve.sort_values("age")
    age, cost = rows["age"].to_numpy(), rows["cost_per_1000_hours"].to_numpy()
    axes.fill_between(
        age, rows["cost_per_1000_hours_lower"], rows["cost_per_1000_hours_upper"],
        color=COLOURS[0], alpha=0.15, linewidth=0,
        label=f"{100 * given.confidence_level:.0f} % range",
    )  # fmt: skip
    axes.plot(age, cost, color=COLOURS[0], linewidth=2, label="expected cost")
    flat = age[cost <= 1.05 * np.nanmin(cost)]
    axes.plot(
        [flat.min(), flat.max()], [1.05 * np.nanmin(cost)] * 2, color="#17211f", linewidth=4,
        alpha=0.7, solid_capstyle="butt", label="within 5 % of the cheapest",
    )  # fmt: skip
    without = float(interval.cost_per_1000_hours_run_to_failure)
    if np.isfinite(without):
        axes.axhline(
            without, color=COLOURS[1], linestyle=DASHES[1], linewidth=1.6, label="run to failure"
        )
    if np.isfinite(advised):
        axes.axvline(advised, color=COLOURS[2], linestyle=DASHES[2], linewidth=2, label="advised")
    axes.set(
        xlabel=f"age at replacement [{unit}]", xlim=(0, None), ylim=(0, None),
        ylabel=f"{money} per 1000 {given.meter_short}",
        title=f"{interval.component}, {interval.duty}",
    )  # fmt: skip
    axes.legend(loc="best")
    return (
        f"{interval.component}, {interval.duty}: advised at "
        f"{wording.number(advised)} {unit}; any age from "
        f"{wording.span(float(flat.min()), float(flat.max()), unit)} costs at most 5 % more "
        "than the cheapest."
    )


def draw_demand(axes: Any, months: pd.DataFrame, label: str) -> str:
    """Demand for one part by calendar month: expected, and the median to 9-in-10 range.

    Parameters
    ----------
    axes : Axes
    months : DataFrame, table "demand_forecast"
        Calendar-month rows of one part and plan.
    label : str
        Part and plan, for the title.

    Returns
    -------
    str
        What the figure shows.
    """
    rows = months.sort_values("from_date")
    place = np.arange(len(rows))
    axes.vlines(
        place, rows["p50"], rows["p90"], color=COLOURS[0], linewidth=7, alpha=0.35,
        label="half of years under the low end,\n9 in 10 under the high end",
    )  # fmt: skip
    axes.plot(
        place, rows["mean"], color=COLOURS[1], linestyle=DASHES[1], marker="o", label="expected"
    )
    names = [facts.day(d).split(" ", 1)[1] for d in rows["from_date"]]
    axes.set_xticks(place, [n.replace(" ", "\n") for n in names])
    axes.set(
        ylabel="demand [pieces a month]", xlabel="calendar month", title=label,
        ylim=(0, max(1.0, float(rows["p90"].max())) * 1.6),
    )  # fmt: skip
    axes.legend(loc="upper left")
    total = float(rows["mean"].sum())
    return (
        f"{label}: about {wording.number(total, 2)} pieces expected over "
        f"{wording.count(len(rows), 'calendar month')}, {names[0]} to {names[-1]}."
    )


def draw_lives(axes: Any, failure_events: pd.DataFrame, meter_short: str = "meter unit") -> str:
    """Ages at which lives ended, failed and not failed told apart by marker, per component.

    Parameters
    ----------
    axes : Axes
    failure_events : DataFrame, table "failure_events"
    meter_short : str
        Short unit of the meter.

    Returns
    -------
    str
        What the figure shows.
    """
    import seaborn

    lives = facts.plain(failure_events.dropna(subset=["exit_hours"]))
    most = lives["component"].value_counts().index[:8]
    lives = lives[lives["component"].isin(most)]
    for place, (event, marker) in enumerate((("failed", "X"), ("not failed", "o"))):
        of_kind = lives[(lives["event"] == "failed") == (event == "failed")]
        seaborn.stripplot(
            data=of_kind, x="exit_hours", y="component", order=list(most), orient="h",
            ax=axes, color=COLOURS[1 - place], marker=marker, alpha=0.6, jitter=0.25, size=5,
        )  # fmt: skip
        axes.plot([], [], linestyle="none", marker=marker, color=COLOURS[1 - place], label=event)
    axes.set(xlabel=f"age when the life ended [{meter_short}]", ylabel="", xlim=(0, None))
    axes.legend(loc="best")
    n_failed = int((lives["event"] == "failed").sum())
    return f"{wording.count(len(lives), 'life', 'lives')}, {n_failed} of them ended in failure."
