"""Notebooks to pages: run, code left out, one file each that needs nothing else."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from markupsafe import Markup

from dutylife.provenance import open_run, shipped_folder
from dutylife.reports.executing import Notebook, executed
from dutylife.reports.facts import facts_of
from dutylife.reports.failed import FailedSection, told
from dutylife.reports.failed_cells import boxes_for_failed, line_for_files
from dutylife.reports.layout import style_tag
from dutylife.reports.other_files import TOLD_ON
from dutylife.reports.whole_page import PAGES, links_of_run, write_whole_page


def write_pages(
    folder: str | Path,
    progress: Callable[[str], None] | None = None,
    failed: list[FailedSection] | None = None,
) -> list[Path]:
    """Run each notebook on a run folder and write its page.

    Parameters
    ----------
    folder : str or Path
        Run DIR with tables/ and run.json.
    progress : callable, optional
        Called with a short text as each page is begun.
    failed : list of FailedSection, optional
        Takes up sections that could not be made, which the pages say at their place and on their
        first screen, as they do of whole files that are in it already (`write_other_files`);
        without it they are an error once the pages are written.

    Returns
    -------
    list of Path
        DIR/stock.html, maintenance.html, evidence.html.

    Raises
    ------
    RunError
        A notebook is missing or takes no run folder, a cell failed that is no section, or a page
        is not self-contained; a section failed and ``failed`` is None.
    """
    run = open_run(Path(folder).resolve())
    given, shelf = facts_of(run), shipped_folder("notebooks")
    notebooks = [
        Notebook(shelf / f"{name}.ipynb", run.folder, sections_may_fail=True) for name in PAGES
    ]
    written, missing = [], []
    for name, done in zip(PAGES, executed(notebooks, progress), strict=True):
        path = run.folder / f"{name}.html"
        links = links_of_run(name)
        missing += boxes_for_failed(done, name, str(run.folder))
        line_for_files(done, [f.page for f in failed or () if TOLD_ON.get(f.page) == name])
        written.append(write_whole_page(path, PAGES[name], _body(done), given, links))
    told(missing, failed)
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
    return write_whole_page(path, title, _body(done), facts_of(run), links_of_run(path.stem))


def _body(notebook: Any) -> Markup:
    """Executed notebook as HTML without code, widgets and the style sheets of its cells."""
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
    return Markup(body.replace(style_tag(), ""))


def _is_plumbing(cell: Any) -> bool:
    """A cell of the parameters, or one that prints nothing."""
    tags = set(cell.metadata.get("tags", []))
    return bool("parameters" in tags) or (cell.cell_type == "code" and not cell.outputs)


def _is_for_reader(output: Any) -> bool:
    widget = "application/vnd.jupyter.widget-view+json"
    return output.get("name") != "stderr" and widget not in output.get("data", {})
