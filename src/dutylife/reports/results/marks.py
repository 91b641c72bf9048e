"""Marks that pictures of results share: steps with their range, dots with bars, plain titles."""

import math
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dutylife import wording
from dutylife.errors import RunError
from dutylife.reports.figures import COLOURS, DASHES

Array = NDArray[np.float64]
TITLE_WIDTH = 84  # letters that fit over the figure at the size of a title
TITLE_LINES = 4
MOST_ROWS = 40  # dots one above the other that can still be read


@dataclass(frozen=True, slots=True)
class Units:
    """Units that a result does not know itself: of its ages (or times), and of money."""

    age: str = "age unit"
    money: str = "currency"


def title(axes: Any, text: str) -> None:
    """Put as many whole sentences over the figure as stand in four lines; one at least."""
    sentences = re.split(r"(?<=[.;:]) (?=\S)", " ".join(text.split()))
    told = sentences[0]
    for more in sentences[1:]:
        if len(textwrap.wrap(f"{told} {more}", TITLE_WIDTH)) > TITLE_LINES:
            break
        told = f"{told} {more}"
    told = re.sub(r"[;:]$", ".", told)
    # over the figure, not the axes: long names of rows leave little room over these
    axes.figure.suptitle(
        "\n".join(textwrap.wrap(told, TITLE_WIDTH, break_on_hyphens=False)),
        x=0.01,
        ha="left",
        fontsize=9.5,
    )


def steps(
    axes: Any, age: ArrayLike, value: ArrayLike, lower: ArrayLike, upper: ArrayLike, *,
    first: float, label: str, range_label: str | None = None, place: int = 0,
) -> None:  # fmt: skip
    """Draw a step curve that begins at ``first`` at age 0, its range dotted and shaded."""
    ages = np.concatenate([[0.0], np.asarray(age, float)])
    style: dict[str, Any] = {"where": "post", "color": COLOURS[place]}
    ends = [np.concatenate([[first], np.asarray(end, float)]) for end in (lower, upper)]
    for number, end in enumerate(ends):
        axes.step(
            ages, end, linestyle=":", linewidth=1, label=range_label if number else None, **style
        )
    axes.fill_between(ages, *ends, step="post", color=COLOURS[place], alpha=0.10, linewidth=0)
    middle = np.concatenate([[first], np.asarray(value, float)])
    axes.step(ages, middle, linestyle=DASHES[place], linewidth=2, label=label, **style)


def dots(
    axes: Any, names: Sequence[str], values: ArrayLike, lower: ArrayLike, upper: ArrayLike, *,
    marked: ArrayLike | None = None, label: str, marked_label: str = "",
) -> None:  # fmt: skip
    """Draw a row by name, the first on top: a dot with the bar of its range.

    A range without end runs to the edge with an arrow; ``marked`` rows have a filled diamond.
    """
    if len(names) > MOST_ROWS:
        raise RunError(
            f"{len(names)} rows are too many for one figure; {MOST_ROWS} can be read.",
            "plot(result)", "ask for fewer at a time, or read the result's .table",
        )  # fmt: skip
    value, low, high = (np.asarray(v, float) for v in (values, lower, upper))
    flags = np.zeros(len(value), bool) if marked is None else np.asarray(marked, bool)
    known = np.concatenate([v[np.isfinite(v)] for v in (value, low, high)])
    logged = axes.get_xscale() == "log"
    known = known[known > 0] if logged else known
    edge_low, edge_high = (known.min(), known.max()) if len(known) else (0.5, 2.0)
    if logged:
        edge_low, edge_high = edge_low / 1.3, edge_high * 1.3
    else:
        room = 0.08 * (edge_high - edge_low) or 0.1
        edge_low, edge_high = edge_low - room, edge_high + room
    place = np.arange(len(names))[::-1]
    for at, left, right in zip(place, low, high, strict=True):
        ends = [left if left > edge_low else edge_low, right if right < edge_high else edge_high]
        if not math.isnan(left) and not math.isnan(right):
            axes.plot(ends, [at, at], color="#4a5653", linewidth=2, solid_capstyle="butt")
            axes.plot(ends[:1], [at], marker="|" if left > edge_low else "<", color="#4a5653")
            axes.plot(ends[1:], [at], marker="|" if right < edge_high else ">", color="#4a5653")
    for flagged, colour, marker, told in (
        (False, COLOURS[0], "o", label), (True, COLOURS[1], "D", marked_label),
    ):  # fmt: skip
        rows = (flags == flagged) & np.isfinite(value)
        if rows.any():
            axes.plot(
                value[rows], place[rows], linestyle="none", marker=marker, markersize=7,
                color=colour, markeredgecolor="white", label=told,
            )  # fmt: skip
    axes.set_yticks(place, [textwrap.shorten(str(n), 34, placeholder="...") for n in names])
    axes.set_ylim(-0.7, len(names) - 0.3)
    axes.set_xlim(edge_low, edge_high)


def plain_numbers(axis: Any) -> None:
    """Write the ticks of a log axis as plain numbers, some between powers of ten if there is room.

    To be called when the ends of the axis stand.
    """
    from matplotlib.ticker import LogLocator, NullFormatter

    low, high = axis.get_view_interval()
    between = (1.0, 2.0, 5.0) if high < 300.0 * low else (1.0,)
    axis.set_major_locator(LogLocator(base=10.0, subs=between))
    axis.set_major_formatter(lambda value, _: wording.number(value))
    axis.set_minor_formatter(NullFormatter())


def in_percent(level: float) -> str:
    """Say a level as the name of its range."""
    return f"{wording.number(100 * level)} % range"
