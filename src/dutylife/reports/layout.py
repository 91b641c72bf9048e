"""A section of a page: heading, answer, tables, figures; shows itself in a notebook."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.reports.facts import day
from dutylife.reports.tables import Shown, html_table, templates, text_of


@cache
def look() -> str:
    """Return the style sheet of pages and of sections in a live notebook."""
    return resources.files("dutylife.reports").joinpath("look.css").read_text(encoding="utf-8")


def style_tag() -> str:
    """Return the style sheet as it stands before each section in a notebook."""
    return f"<style>\n{look()}</style>\n"


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report.

    Parameters
    ----------
    title : str
        Heading; blank where the page's own heading says it.
    answer : str
        The one sentence the reader came for; may be blank.
    sentences : tuple of str
        Plain sentences below it.
    parts : tuple of Markup
        Tables and figures, already safe HTML.
    whole_on_paper : bool
        Whether a print holds all of it; else heading and answer, the rest is on the screen.
    """

    title: str
    answer: str = ""
    sentences: tuple[str, ...] = ()
    parts: tuple[Markup, ...] = field(default=(), repr=False)
    whole_on_paper: bool = True

    @property
    def text(self) -> str:
        """Answer and sentences without tables."""
        return "\n".join([t for t in (self.answer, *self.sentences) if t])

    @property
    def html(self) -> str:
        """The section as HTML; all text from data is escaped."""
        return (
            templates()
            .get_template("section.html")
            .render(
                title=self.title,
                answer=self.answer,
                sentences=self.sentences,
                parts=self.parts,
                whole_on_paper=self.whole_on_paper,
            )
        )

    def _repr_html_(self) -> str:
        return style_tag() + self.html


def listed(items: list[str], *, none: str = "Nothing to show.") -> Markup:
    """Return sentences as a list, escaped."""
    if not items:
        return Markup('<p class="quiet">{}</p>').format(none)
    inner = Markup("").join(Markup("<li>{}</li>").format(wording.unbroken(i)) for i in items)
    return Markup("<ul>{}</ul>").format(inner)


def side_by_side(figures: list[Markup]) -> Markup:
    """Return figures that stand beside each other where there is room."""
    return Markup('<div class="figures">{}</div>').format(Markup("").join(figures))


def own_section(title: str, frame: pd.DataFrame, *sentences: str, caption: str = "") -> Section:
    """Return a table of one's own as a section, for a report of one's own.

    Parameters
    ----------
    title : str
        Its heading.
    frame : DataFrame
        Columns are shown under their names, underscores as spaces; numbers to three figures.
    *sentences : str
        What it says, the first one as the answer.
    caption : str
        What the table holds; the title when not given.

    Returns
    -------
    Section
    """
    shown = [
        Shown(
            name=str(name),
            heading=str(name).replace("_", " "),
            write=_written(frame[name]),
            number=pd.api.types.is_numeric_dtype(frame[name]),
        )
        for name in frame.columns
    ]
    plain = frame.rename(columns=str)
    table = html_table(plain, shown, caption=caption or title)
    return Section(title, sentences[0] if sentences else "", sentences[1:], (table,))


def _written(column: pd.Series) -> Callable[[Any], str]:
    if pd.api.types.is_datetime64_any_dtype(column):
        return day
    if pd.api.types.is_bool_dtype(column):
        return lambda value: "yes" if value else "no"
    return wording.number if pd.api.types.is_numeric_dtype(column) else text_of
