"""A whole file that could not be made: no part of it stays, pages and caller are told."""

import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from markupsafe import Markup

from dutylife.errors import DutylifeError
from dutylife.reports.cautions import CALENDAR_LINE, CAUTIONS
from dutylife.reports.facts import Facts
from dutylife.reports.failed import WHOLE_FILE, FailedSection, reason_of
from dutylife.reports.layout import listed
from dutylife.reports.whole_page import Links, write_whole_page


def made_or_told(
    path: Path,
    make: Callable[[], Any],
    failed: list[FailedSection] | None,
    *,
    name: str = "",
    stand_in: Callable[[str], Any] | None = None,
    reason: Callable[[Exception], str] = reason_of,
) -> list[FailedSection]:
    """Make a file; where that fails, take away what there is of it and say so.

    Parameters
    ----------
    path : Path
        The file.
    make : callable
        Writes it.
    failed : list of FailedSection, optional
        Takes up what failed; without it the error goes on.
    name : str
        What the caller is told of it; the file's name when blank.
    stand_in : callable, optional
        Writes a page in its place that says why, so that links to it work.
    reason : callable
        Error to the words of that page.

    Returns
    -------
    list of FailedSection
        Of this file: one, or none.

    Raises
    ------
    DutylifeError, OSError
        What a person has to mend before a run (an earlier calendar that can't be read), and
        troubles of the disk, stop the run as before.
    """
    try:
        make()
    except Exception as error:
        path.unlink(missing_ok=True)  # whole or not at all
        if failed is None or isinstance(error, DutylifeError | OSError) or _is_of_disk(error):
            raise
        trace = "".join(traceback.format_exception(error))
        one = FailedSection(name or path.name, WHOLE_FILE, type(error).__name__, trace)
        failed.append(one)
        if stand_in is not None:
            stand_in(reason(error))
        return [one]
    return []


def _is_of_disk(error: BaseException) -> bool:
    """Whether a library's own error only wraps one of the disk."""
    beneath = error.__cause__ or error.__context__
    return isinstance(beneath, OSError)


def page_in_place(
    path: Path, title: str, given: Facts, links: Links, *, cautions: bool = False
) -> Callable[[str], Path]:
    """Return what writes a page that stands for one that failed.

    Parameters
    ----------
    path : Path
    title : str
    given : Facts
    links : list of (address, name, whether it is this page)
    cautions : bool
        Every caution stands on it, as on the page it stands for.
    """

    def write(reason: str) -> Path:
        body = Markup(
            '<h1>{}</h1>\n<div class="dutylife"><p class="failed">This page could not be made: {}; '
            "the figures of the other pages are not touched by it. Do not take what is missing for "
            "nothing to do.</p></div>\n"
        ).format(title, reason)
        if cautions:
            every = listed([f"{hazard}. {what}" for hazard, what in CAUTIONS])
            body += Markup(
                '<div class="dutylife"><p class="answer">{}</p><div class="caution">{}</div></div>'
            ).format(CALENDAR_LINE, every)
        return write_whole_page(path, title, body, given, links)

    return write
