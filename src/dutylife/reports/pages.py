"""Notebooks to pages: run with papermill, code left out, one file each that needs nothing else."""

import json
import os
import re
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

import dutylife
from dutylife.errors import RunError
from dutylife.provenance import open_run, shipped_folder
from dutylife.reports.cautions import FOOTER
from dutylife.reports.facts import Facts, day, facts_of
from dutylife.reports.layout import look, style_tag
from dutylife.reports.tables import templates

PAGES = {"stock": "Stock", "maintenance": "Maintenance", "evidence": "Evidence"}
OTHER_PAGES = {"wall-cards": "Wall cards"}  # written beside them, not from a notebook
PARAMETER = "run_folder"
_REMOTE = re.compile(
    r"""<(?:script|link|iframe|object|embed|base)\b|\bsrc\s*=\s*["']?(?:https?:)?//|"""
    r"""@import|url\(\s*["']?(?:https?:)?//""",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Page:
    name: str
    notebook: Path
    folder: Path


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
    given, notebooks = facts_of(run), shipped_folder("notebooks")
    pages = [_Page(n, notebooks / f"{n}.ipynb", run.folder) for n in PAGES]
    with _importable(), ThreadPoolExecutor(max_workers=2) as pool:
        _imports()
        for page in pages:
            (progress or (lambda _: None))(f"page {page.name}")
        executed = list(pool.map(_executed, pages))
    written = []
    for page, notebook in zip(pages, executed, strict=True):
        text = _page(page, notebook, given)
        path = run.folder / f"{page.name}.html"
        path.write_text(text, encoding="utf-8", newline="\n")
        written.append(path)
    return written


def _imports() -> None:
    """Load papermill in this thread, before two others would do it at once."""
    import nbconvert  # noqa: F401
    import papermill  # noqa: F401


@contextmanager
def _importable() -> Iterator[None]:
    """Let kernels find this very package, and stay on one BLAS thread, while the pages are made."""
    source = str(Path(dutylife.__file__).resolve().parents[1])
    wanted = {
        "PYTHONPATH": os.pathsep.join(filter(None, [source, os.environ.get("PYTHONPATH", "")])),
        "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "agg",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }  # fmt: skip
    before = {key: os.environ.get(key) for key in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for key, value in before.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value


def _executed(page: _Page) -> Any:
    """Run one notebook; papermill only warns of a parameter it does not know, so look first."""
    import papermill
    from jupyter_core.utils import ensure_event_loop
    from papermill.exceptions import PapermillExecutionError

    if not page.notebook.is_file():
        raise RunError("A notebook is missing.", page.notebook.name, "install the package again")
    known = papermill.inspect_notebook(str(page.notebook))
    if set(known) != {PARAMETER}:
        raise RunError(
            f"The notebook takes {sorted(known) or 'no parameters'}, not '{PARAMETER}' alone.",
            page.notebook.name, f"give its parameters cell the one line: {PARAMETER} = ''",
        )  # fmt: skip
    try:
        return papermill.execute_notebook(
            str(page.notebook),
            None,
            parameters={PARAMETER: str(page.folder)},
            kernel_name="python3",
            progress_bar=False,
            log_output=False,  # and no cwd: it would move the whole process, under two threads
            extra_arguments=["--log-level=CRITICAL"],  # else it warns of its socket
        )
    except PapermillExecutionError as error:
        raise RunError(
            f"A cell failed: {error.ename}: {error.evalue}",
            f"notebook {page.notebook.name}, cell {_cell_number(page.notebook, error.cell_index)}: "
            + " / ".join(line.strip() for line in str(error.source).strip().splitlines()),
            "mend what the cell names; the page was not written",
        ) from error
    finally:
        ensure_event_loop().close()  # jupyter opens one for this worker thread and leaves it open


def _cell_number(notebook: Path, executed_index: int) -> int:
    """Cell as a person counts it in the notebook, which lacks the cell papermill puts in."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    tagged = [i for i, c in enumerate(cells) if "parameters" in c["metadata"].get("tags", [])]
    return executed_index + 1 - (executed_index > tagged[0])


def _page(page: _Page, notebook: Any, given: Facts) -> str:
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
        title=f"{PAGES[page.name]}: {given.fleet}, {day(given.as_of)}",
        css=Markup(css),
        fleet=given.fleet,
        as_of=day(given.as_of),
        pages=[(f"{n}.html", title, n == page.name) for n, title in (PAGES | OTHER_PAGES).items()],
        body=Markup(body),
        footer=FOOTER,
        stamp=f"Made by dutylife {dutylife.__version__}.",
    )  # fmt: skip
    found = _REMOTE.search(text)
    if found:
        raise RunError(
            f"The page would hold a script or a remote resource: {found.group(0)!r}.",
            f"{page.name}.html", "take it out of the notebook",
        )  # fmt: skip
    return text


def _is_plumbing(cell: Any) -> bool:
    """A cell of the parameters, or one that prints nothing."""
    tags = set(cell.metadata.get("tags", []))
    return bool(tags & {"parameters", "injected-parameters"}) or (
        cell.cell_type == "code" and not cell.outputs
    )


def _is_for_reader(output: Any) -> bool:
    widget = "application/vnd.jupyter.widget-view+json"
    return output.get("name") != "stderr" and widget not in output.get("data", {})


def own_css() -> str:
    """Return the style sheet of a whole page, beside that of its sections."""
    from importlib import resources

    return resources.files("dutylife.reports").joinpath("page.css").read_text(encoding="utf-8")
