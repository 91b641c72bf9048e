"""Frames to HTML tables that a screen reader and a phone can read; every text is escaped."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup, escape

from dutylife import wording
from dutylife.reports import facts

NOT_KNOWN = "not known"


def text_of(value: Any) -> str:
    """Return a value as it stands."""
    return str(value)


def whole(value: float) -> str:
    """Return pieces: whole where they are, else one decimal, thousands set off by a space.

    Examples
    --------
    >>> whole(1200.0), whole(2.46)
    ('1 200', '2.5')
    """
    text = f"{value:,.0f}" if abs(value - round(value)) < 0.05 else f"{value:,.1f}"
    return text.replace(",", " ")


def whole_hours(value: float) -> str:
    """Return a reading of a meter as it shows it: whole from 10 on, two figures below.

    Examples
    --------
    >>> whole_hours(1234.4), whole_hours(2.46)
    ('1 234', '2.5')
    """
    return whole(round(value)) if value >= 10 else wording.number(value, 2)


def amount(value: float) -> str:
    """Return money without its currency, which stands in the heading."""
    return wording.money(value, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One column of a printed table.

    Parameters
    ----------
    name : str
        Column of the frame.
    heading : str
        What the reader calls it.
    unit : str
        Unit of every figure in it, shown under the heading.
    write : callable
        Value to text; a line break starts a second, quieter line.
    missing : str
        Text of a missing value.
    number : bool
        Set right-aligned, never broken over lines.
    wide : bool
        Sentences: takes the room that is left.
    under : bool
        On a phone it stands under the row's name, without its heading.
    line : bool
        A short name: its words stay together, only what is longer than a column is broken.
    """

    name: str
    heading: str
    unit: str = ""
    write: Callable[[Any], str] = text_of
    missing: str = ""
    number: bool = False
    wide: bool = False
    under: bool = False
    line: bool = False

    @property
    def label(self) -> str:
        """Heading and unit in one line, for cards on a phone and for screen readers."""
        return f"{self.heading} ({self.unit})" if self.unit else self.heading

    @property
    def kind(self) -> str:
        """Name of the style class."""
        for kind in ("number", "wide", "under", "line"):
            if getattr(self, kind):
                return kind
        return "text"

    def lines(self, value: Any) -> list[str]:
        """Return the cell's lines, the first one the main one."""
        if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)) or value == "":
            return [self.missing] if self.missing else []
        lines = self.write(value).split("\n")
        return [wording.true_minus(line) for line in lines] if self.number else lines


def figure_column(name: str, heading: str, unit: str = "", **more: Any) -> Shown:
    """Return a column of figures; missing ones read "not known" unless told otherwise."""
    known: dict[str, Any] = {"write": whole, "missing": NOT_KNOWN, "number": True} | more
    return Shown(name=name, heading=heading, unit=unit, **known)


def linked(name: str, heading: str, **more: Any) -> Shown:
    """Return a column whose cells are our own safe markup, such as links."""
    return Shown(name=name, heading=heading, write=_safe, **more)


def _safe(value: Any) -> Any:
    if not isinstance(value, Markup):
        raise TypeError("a linked column takes Markup, whose text is escaped where it is made")
    return value


def date_column(name: str, heading: str, **more: Any) -> Shown:
    """Return a column of dates."""
    return Shown(name=name, heading=heading, write=facts.day, number=True, **more)


@cache
def templates() -> jinja2.Environment:
    """Return the templates, every value escaped unless it is our own markup."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("dutylife.reports", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=_for_page,
    )


def _for_page(value: Any) -> Any:
    """Keep numbers of plain text whole on every page; markup is made of such text already."""
    return wording.unbroken(value) if type(value) is str else value


def html_table(
    frame: pd.DataFrame,
    shown: Sequence[Shown],
    *,
    caption: str,
    none: str = "Nothing to show.",
    caption_unseen: bool = False,
) -> Markup:
    """Return a table with caption, scopes and a label on every cell.

    Parameters
    ----------
    frame : DataFrame
        Rows in the order they are to be read.
    shown : sequence of Shown
        Columns; the first one names the row.
    caption : str
        What the table holds, plain text.
    none : str
        Sentence that stands in for a table without rows.
    caption_unseen : bool
        Keep the caption for screen readers alone, where the heading above says the same.

    Returns
    -------
    Markup
        HTML in which all text of the frame is escaped.
    """
    if frame.empty:
        return Markup('<p class="quiet">{}</p>').format(none)
    columns = [frame[c.name].tolist() for c in shown]
    # made and escaped once for all rows: a page of wall cards holds 100 000 cells
    heads = [(c, Markup(c.kind), escape(wording.unbroken(c.label))) for c in shown]
    rows = [
        [
            (kind, label, c.lines(value))
            for (c, kind, label), value in zip(heads, values, strict=True)
        ]
        for values in zip(*columns, strict=True)
    ]
    narrow = len(shown) <= 5 and not any(c.wide or c.under for c in shown)
    text = (
        templates()
        .get_template("table.html")
        .render(
            caption=caption, shown=shown, rows=rows, narrow=narrow, caption_unseen=caption_unseen
        )
    )
    return Markup(text)
