"""Cells of a run notebook that failed: their error becomes the page's box, the page says so."""

import re
from typing import Any

from markupsafe import Markup

from dutylife.reports.executing import asked_section
from dutylife.reports.failed import FailedSection, failed_section, missing_line, short_reason

_COLOURS = re.compile(r"\x1b\[[0-9;]*m")  # of a terminal


def boxes_for_failed(notebook: Any, page: str, folder: str) -> list[FailedSection]:
    """Put a box in the place of each section that failed, and a line before the first section.

    Parameters
    ----------
    notebook : NotebookNode
        Run; changed in place.
    page : str
        Its page, without ending.
    folder : str
        The run's folder, which no page names.

    Returns
    -------
    list of FailedSection
    """
    found = []
    for cell in notebook.cells:
        errors = [o for o in cell.get("outputs", []) if o.output_type == "error"]
        if not errors:
            continue
        error, name = errors[0], asked_section(cell.source)
        trace = _COLOURS.sub("", "\n".join(error.traceback))
        found.append(FailedSection(page, name, error.ename, trace))
        reason = short_reason(error.ename, error.evalue, hidden=folder)
        cell.outputs = [_shown(Markup(failed_section(name, reason).html))]
    if found:
        first = next(c for c in notebook.cells if any(_is_section(o) for o in c.get("outputs", [])))
        first.outputs = [_shown(missing_line([one.section for one in found])), *first.outputs]
    return found


def line_for_files(notebook: Any, names: list[str]) -> None:
    """Put a line before the first section that names files that could not be made.

    Parameters
    ----------
    notebook : NotebookNode
        Run; changed in place.
    names : list of str
        Of files; nothing is put where none is missing.
    """
    if names:
        first = next(c for c in notebook.cells if any(_is_section(o) for o in c.get("outputs", [])))
        first.outputs = [_shown(missing_line(names, "file of this run")), *first.outputs]


def _is_section(output: Any) -> bool:
    return "text/html" in output.get("data", {})


def _shown(html: Markup) -> Any:
    import nbformat

    return nbformat.v4.new_output("display_data", {"text/html": str(html)})  # type: ignore[no-untyped-call]
