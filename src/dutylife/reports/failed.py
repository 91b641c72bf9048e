"""A section that could not be made: said at its place, on the first screen and to the caller."""

import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from dutylife import wording
from dutylife.errors import DutylifeError, RunError
from dutylife.reports.cautions import CALENDAR_LINE, CAUTIONS
from dutylife.reports.layout import Section, listed

_LONGEST = 200  # signs of an error that a page shows; the terminal shows all of it
_CAUTIONS = "cautions"
WHOLE_FILE = "the whole file"


@dataclass(frozen=True, slots=True)
class FailedSection:
    """A section that is missing on a page.

    Parameters
    ----------
    page : str
        Page without ending, e.g. ``stock``; of a pack with its folders; of a whole file its name.
    section : str
        Name of the section, or `WHOLE_FILE`.
    error : str
        Kind of the error, e.g. ``ValueError``; holds nothing of the data.
    trace : str
        The whole error, for the terminal.
    """

    page: str
    section: str
    error: str
    trace: str = field(repr=False)

    @property
    def text(self) -> str:
        """What is missing, in one line."""
        if self.section == WHOLE_FILE:
            return f"{self.page} could not be made ({self.error})"
        return f"page {self.page}: the section '{self.section}' could not be made ({self.error})"

    @property
    def about(self) -> dict[str, str]:
        """What run.json says of it: no text that may come from the data."""
        return {"page": self.page, "section": self.section, "error": self.error}


def reason_of(error: Exception) -> str:
    """Short reason for a page: kind of the error and the first line of what it says."""
    told = error.what if isinstance(error, DutylifeError) else str(error)
    return short_reason(type(error).__name__, told)


def short_reason(kind: str, told: str, *, hidden: str = "") -> str:
    """Kind of an error and the first line of what it says, cut; ``hidden`` is a folder not to name.

    Examples
    --------
    >>> short_reason("KeyError", "'price'"), short_reason("ValueError", "")
    ("KeyError: 'price'", 'ValueError')
    """
    lines = told.strip().splitlines()
    first = lines[0].strip().rstrip(".") if lines else ""
    if hidden:
        first = first.replace(hidden, "the run's folder")
    if len(first) > _LONGEST:
        first = first[:_LONGEST] + "..."
    return f"{kind}: {first}" if first else kind


def failed_section(name: str, reason: str) -> Section:
    """Return what stands in the place of a section that could not be made.

    Parameters
    ----------
    name : str
        Of the section. In place of the cautions stand all cautions there are.
    reason : str
        Short, plain; escaped here.
    """
    told = Markup('<p class="failed">{}</p>').format(
        f"This section could not be made: {reason}; the figures beside are not touched by it."
    )
    if name != _CAUTIONS:
        return Section(name.capitalize(), "", (), (told,))
    every = listed([f"{hazard}. {what}" for hazard, what in CAUTIONS])
    block = Markup('<div class="caution">{}</div>').format(every)
    return Section("Before anyone touches a machine", CALENDAR_LINE, (), (told, block))


def missing_line(names: list[str], one: str = "section of this page") -> Markup:
    """Return the line for the first screen that says what is missing; blank if nothing is.

    Parameters
    ----------
    names : list of str
    one : str
        What one of them is: its first word takes the plural.
    """
    if not names:
        return Markup()
    verb = "is" if len(names) == 1 else "are"
    first, _, of = one.partition(" ")
    return Markup('<div class="dutylife"><p class="failed">{}</p></div>\n').format(
        f"{wording.count(len(names), first)} {of} {verb} missing, since "
        f"{'it' if len(names) == 1 else 'they'} could not be made: {', '.join(names)}. "
        "Do not take what is missing for nothing to do."
    )


def sections_made(
    makers: Mapping[str, Callable[[Any], Section]],
    of: Any,
    page: str,
    *,
    reason: Callable[[Exception], str] = reason_of,
) -> tuple[list[Section], list[FailedSection]]:
    """Make every section that can be made; a box stands for each of the others.

    Parameters
    ----------
    makers : mapping of str to callable
        Sections by name, in their order.
    of : object
        What each is made of.
    page : str
        As in `FailedSection`.
    reason : callable
        Error to the words of the box.

    Returns
    -------
    tuple
        Sections in order, and those that failed, to be told by the caller.
    """
    made, failed = [], []
    for name, make in makers.items():
        try:
            made.append(make(of))
        except Exception as error:  # noqa: BLE001  (told on the page and to the caller, whole)
            trace = "".join(traceback.format_exception(error))
            failed.append(FailedSection(page, name, type(error).__name__, trace))
            made.append(failed_section(name, reason(error)))
    return made, failed


def told(found: list[FailedSection], failed: list[FailedSection] | None) -> None:
    """Hand failed sections to the caller's list, or raise where the caller has none.

    Raises
    ------
    RunError
        Sections failed and nobody takes them up; the pages are written.
    """
    if failed is not None:
        failed += found
    elif found:
        raise RunError(
            "Sections could not be made: " + "; ".join(one.text for one in found),
            "the pages, which say so",
            "the first error in full:\n" + found[0].trace,
        )
