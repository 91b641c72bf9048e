"""A whole page around what a report says: head, links to its neighbours, foot; one file alone."""

import re
from importlib import resources
from pathlib import Path

from markupsafe import Markup

import dutylife
from dutylife.disk import write_whole
from dutylife.errors import RunError
from dutylife.reports.cautions import FOOTER
from dutylife.reports.facts import Facts, day
from dutylife.reports.layout import look
from dutylife.reports.tables import templates

PAGES = {"stock": "Stock", "maintenance": "Maintenance", "evidence": "Evidence"}
# written beside them, not from a notebook
OTHER_PAGES = {"wall-cards": "Wall cards", "lives": "Lives", "data-slip": "Data slip"}
_REMOTE = re.compile(
    r"""<(?:script|link|iframe|object|embed|base)\b|\bsrc\s*=\s*["']?(?:https?:)?//|"""
    r"""@import|url\(\s*["']?(?:https?:)?//""",
    re.IGNORECASE,
)
Links = list[tuple[str, str, bool]]  # address, name, whether it is this page


def own_css() -> str:
    """Return the style sheet of a whole page, beside that of its sections."""
    return resources.files("dutylife.reports").joinpath("page.css").read_text(encoding="utf-8")


def links_of_run(here: str) -> Links:
    """Return the pages of a run, for the head of page ``here``."""
    return [(f"{n}.html", title, n == here) for n, title in (PAGES | OTHER_PAGES).items()]


def write_whole_page(
    path: Path, title: str, body: Markup, given: Facts, links: Links, *, css: str = ""
) -> Path:
    """Write a page that needs nothing else.

    Parameters
    ----------
    path : Path
        The file to write.
    title : str
        Of the page; fleet, or customer in a pack, and day follow.
    body : Markup
        What stands between head and foot, data's text escaped.
    given : Facts
    links : list of (address, name, whether it is this page)
    css : str
        Styles of this page alone.

    Returns
    -------
    Path

    Raises
    ------
    RunError
        The page would hold a script or something from the network.
    """
    text = templates().get_template("page.html").render(
        title=f"{title}: {given.customer or given.fleet}, {day(given.as_of)}",
        css=Markup((look() + own_css() + css).strip()),
        fleet=given.fleet,
        as_of=day(given.as_of),
        pages=links,
        body=body,
        footer=FOOTER,
        stamp=f"Made by dutylife {dutylife.__version__}.",
    )  # fmt: skip
    found = _REMOTE.search(text)
    if found:
        raise RunError(
            f"The page would hold a script or a remote resource: {found.group(0)!r}.",
            path.name, "take it out of the notebook, or of the section that writes it",
        )  # fmt: skip
    write_whole(path, text)
    return path
