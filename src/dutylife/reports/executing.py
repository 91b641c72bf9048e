"""Notebooks run one after the other in one warm kernel, each with its run folder and a clean slate.

A kernel of its own for each would load the libraries anew: 5 of 7 seconds of a page.
"""

import ast
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import dutylife
from dutylife.errors import RunError

PARAMETER = "run_folder"
_CLEAN = "%reset -f"


@dataclass(frozen=True, slots=True)
class Notebook:
    """A notebook to run, and the folder of the run it is given."""

    path: Path
    folder: Path
    sections_may_fail: bool = False  # cells that ask for one section and nothing else


def executed(
    notebooks: Sequence[Notebook], progress: Callable[[str], None] | None = None
) -> list[Any]:
    """Run notebooks in turn in one kernel.

    Parameters
    ----------
    notebooks : sequence of Notebook
        Each takes the one parameter ``run_folder``.
    progress : callable, optional
        Called with a notebook's name as it begins.

    Returns
    -------
    list of NotebookNode
        Each with its outputs; of a section that failed the error is the output.

    Raises
    ------
    RunError
        A notebook is missing or takes no run folder, or a cell failed that may not.
    """
    held = [_filled(n) for n in notebooks]
    # whole before the thread starts: two threads that import it at once find it half made
    import nbclient  # noqa: F401

    with _importable(), ThreadPoolExecutor(max_workers=1) as pool:
        running = pool.submit(_run, held, notebooks, progress or (lambda _: None))
        import nbconvert  # noqa: F401  (the kernel is busy meanwhile)

        running.result()
    return held


def _filled(notebook: Notebook) -> Any:
    """The notebook with its run folder in its parameters cell."""
    import nbformat

    if not notebook.path.is_file():
        raise RunError("A notebook is missing.", notebook.path.name, "install the package again")
    held: Any = nbformat.read(notebook.path, as_version=4)  # type: ignore[no-untyped-call]
    cells = [c for c in held.cells if "parameters" in c.metadata.get("tags", [])]
    known = {name for cell in cells for name in _assigned(cell.source)}
    if known != {PARAMETER}:
        raise RunError(
            f"The notebook takes {sorted(known) or 'no parameters'}, not '{PARAMETER}' alone.",
            notebook.path.name, f"give its parameters cell the one line: {PARAMETER} = ''",
        )  # fmt: skip
    cells[0].source = f"{PARAMETER} = {str(notebook.folder)!r}"
    return held


def _assigned(source: str) -> list[str]:
    return [
        target.id
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    ]


def asked_section(source: str) -> str:
    """Name of the section a cell asks for, blank where it does anything else.

    Examples
    --------
    >>> asked_section('dl.section(run, "why")'), asked_section("x = 1"), asked_section("%time 1")
    ('why', '', '')
    """
    try:
        body = ast.parse(source).body
    except SyntaxError:  # a line of the notebook's own language
        return ""
    match body:
        case [
            ast.Expr(
                ast.Call(
                    func=ast.Attribute(attr="section") | ast.Name(id="section"),
                    args=[*_, ast.Constant(value=str(name))],
                )
            )
        ]:
            return name
    return ""


def _run(held: list[Any], notebooks: Sequence[Notebook], progress: Callable[[str], None]) -> None:
    """Run all cells as one notebook; outputs land in the cells of ``held``."""
    import nbformat
    from jupyter_core.utils import ensure_event_loop
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    whole: Any = nbformat.v4.new_notebook()  # type: ignore[no-untyped-call]
    begins: list[int] = []
    may_fail = []
    for one, notebook in zip(held, notebooks, strict=True):
        begins.append(len(whole.cells) + 1)
        if notebook.sections_may_fail:
            may_fail += [c for c in one.cells if c.cell_type == "code" and asked_section(c.source)]
        whole.cells += [nbformat.v4.new_code_cell(_CLEAN), *one.cells]  # type: ignore[no-untyped-call]
    failed: list[int] = []
    tags = [cell.metadata.get("tags") for cell in may_fail]
    for cell in may_fail:  # nbclient's own mark
        cell.metadata["tags"] = ["raises-exception"]

    def begun(cell_index: int, **_: Any) -> None:
        if cell_index in begins:
            progress(f"page {notebooks[begins.index(cell_index)].path.stem}")

    client = NotebookClient(
        whole, kernel_name="python3", timeout=None, on_cell_start=begun,
        on_cell_error=lambda cell_index, **_: failed.append(cell_index),
        # else it warns of its socket; and code that lies in the folder one stands in never runs
        extra_arguments=["--log-level=CRITICAL", "--InteractiveShellApp.ignore_cwd=True"],
    )  # fmt: skip
    try:
        client.execute()
    except CellExecutionError as error:
        at = failed[-1]
        which = max(i for i, begin in enumerate(begins) if begin <= at)
        source = " / ".join(s.strip() for s in whole.cells[at].source.strip().splitlines())
        raise RunError(
            f"A cell failed: {error.ename}: {error.evalue}",
            f"notebook {notebooks[which].path.name}, cell {at - begins[which] + 1}: {source}",
            "mend what the cell names; the page was not written",
        ) from error
    finally:
        for cell, before in zip(may_fail, tags, strict=True):
            del cell.metadata["tags"]
            cell.metadata |= {} if before is None else {"tags": before}
        ensure_event_loop().close()  # jupyter opens one for this worker thread and leaves it open


@contextmanager
def _importable() -> Iterator[None]:
    """Let kernels find this very package, and stay on one BLAS thread, while the pages are made."""
    source = str(Path(dutylife.__file__).resolve().parents[1])
    wanted = {
        "PYTHONPATH": os.pathsep.join(filter(None, [source, os.environ.get("PYTHONPATH", "")])),
        "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "agg",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1", "PYTHONSAFEPATH": "1",
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
