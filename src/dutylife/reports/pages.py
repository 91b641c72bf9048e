"""Notebooks to pages: run, code left out, one file each that needs nothing else."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from markupsafe import Markup

import dutylife
from dutylife.errors import RunError
from dutylife.provenance import open_run, shipped_folder
from dutylife.reports.cautions import FOOTER
from dutylife.reports.executing import Notebook, executed
from dutylife.reports.facts import Facts, day, facts_of
from dutylife.reports.layout import look, style_tag
from dutylife.reports.tables import templates

PAGES = {"stock": "Stock", "maintenance": "Maintenance", "evidence": "Evidence"}
# written beside them, not from a notebook
OTHER_PAGES = {"wall-cards": "Wall cards", "lives": "Lives", "data-slip": "Data slip"}
_REMOTE = re.compile(
    r"""<(?:script|link|iframe|object|embed|base)\b|\bsrc\s*=\s*["']?(?:https?:)?//|"""
    r"""@import|url\(\s*["']?(?:https?:)?//""",
    re.IGNORECASE,
)


def write_pages(folder: str | Path, progress: Callable[[str], None] | None = None) -> list[Path]:
    """Run each notebook on a run folder and write its page.

    Parameters
    ----------
    folder : str or Path
        Run DIR with tables/ and run.json.
    progress : callable, optional
        Called with a short text as each page is begun.

    Returns
    -------
    list of Path
        DIR/stock.html, maintenance.html, evidence.html.

    Raises
    ------
    RunError
        A notebook is missing or takes no run folder, a cell failed, or a page is not
        self-contained.
    """
    run = open_run(Path(folder).resolve())
    given, shelf = facts_of(run), shipped_folder("notebooks")
    notebooks = [Notebook(shelf / f"{name}.ipynb", run.folder) for name in PAGES]
    written = []
    for name, done in zip(PAGES, executed(notebooks, progress), strict=True):
        path = run.folder / f"{name}.html"
        path.write_text(_page(name, PAGES[name], done, given), encoding="utf-8", newline="\n")
        written.append(path)
    return written


def write_own_page(notebook: str | Path, folder: str | Path, out: str | Path) -> Path:
    """Run a notebook of one's own on a run folder and write it as a page like the others.

    Parameters
    ----------
    notebook : str or Path
        Its parameters cell has the one line ``run_folder = ...``; its first heading is the title.
    folder : str or Path
        Run DIR.
    out : str or Path
        The HTML file to write; links to the run's pages work where it stands beside them.

    Returns
    -------
    Path

    Raises
    ------
    RunError
        As `write_pages`.
    """
    run, path = open_run(Path(folder).resolve()), Path(out)
    done = executed([Notebook(Path(notebook), run.folder)])[0]
    heads = [
        line[2:].strip()
        for cell in done.cells
        if cell.cell_type == "markdown"
        for line in cell.source.splitlines()
        if line.startswith("# ")
    ]
    title = heads[0] if heads else path.stem
    text = _page(path.stem, title, done, facts_of(run))
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _page(name: str, title: str, notebook: Any, given: Facts) -> str:
    """Executed notebook as one HTML file: no code, script, widget or remote resource."""
    from nbconvert import exporters

    notebook.metadata.pop("widgets", None)
    notebook.cells = [c for c in notebook.cells if not _is_plumbing(c)]
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs = [o for o in cell.outputs if _is_for_reader(o)]
    html_exporter: Any = exporters.HTMLExporter
    exporter = html_exporter(
        template_name="basic",
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )
    body, _ = exporter.from_notebook_node(notebook)
    body = body.replace(style_tag(), "")
    css = (look() + own_css()).strip()
    text = templates().get_template("page.html").render(
        title=f"{title}: {given.fleet}, {day(given.as_of)}",
        css=Markup(css),
        fleet=given.fleet,
        as_of=day(given.as_of),
        pages=[(f"{n}.html", t, n == name) for n, t in (PAGES | OTHER_PAGES).items()],
        body=Markup(body),
        footer=FOOTER,
        stamp=f"Made by dutylife {dutylife.__version__}.",
    )  # fmt: skip
    found = _REMOTE.search(text)
    if found:
        raise RunError(
            f"The page would hold a script or a remote resource: {found.group(0)!r}.",
            f"{name}.html", "take it out of the notebook",
        )  # fmt: skip
    return text


def _is_plumbing(cell: Any) -> bool:
    """A cell of the parameters, or one that prints nothing."""
    tags = set(cell.metadata.get("tags", []))
    return bool("parameters" in tags) or (cell.cell_type == "code" and not cell.outputs)


def _is_for_reader(output: Any) -> bool:
    widget = "application/vnd.jupyter.widget-view+json"
    return output.get("name") != "stderr" and widget not in output.get("data", {})


def own_css() -> str:
    """Return the style sheet of a whole page, beside that of its sections."""
    from importlib import resources

    return resources.files("dutylife.reports").joinpath("page.css").read_text(encoding="utf-8")
