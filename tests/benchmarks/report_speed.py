"""P18 and P19: import of the library against pandas; a report cold, without the heavy libraries
and with them, and the next one on a warm kernel.
"""  # noqa: D205

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any

import nbformat
from measuring import Aim, Benchmark, Pair

from dutylife.provenance import shipped_folder

sys.path.append(str(Path(__file__).parents[1] / "reports"))
SOURCE = str(Path(__file__).parents[2] / "src")
# what a report would load if it loaded all that some function of the library may need
EVERYTHING = (
    "import scipy.stats, scipy.optimize, lifelines, seaborn, sklearn.linear_model, duckdb, "
    "matplotlib.pyplot, pyarrow, sqlalchemy, joblib, icalendar, xlsxwriter"
)
COLD = """
import sys
from pathlib import Path
from dutylife.reports.executing import Notebook, executed
executed([Notebook(Path(sys.argv[1]), Path(sys.argv[2]))])
"""


def _python(code: str, *arguments: str) -> None:
    path = os.pathsep.join(filter(None, [SOURCE, os.environ.get("PYTHONPATH", "")]))
    # a library's modules are compiled once; without that each import would compile them anew
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment |= {"PYTHONPATH": path, "PYTHONPYCACHEPREFIX": _cache()}
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, env=environment)


_held: list[tempfile.TemporaryDirectory[str]] = []


def _cache() -> str:
    if not _held:
        _held.append(tempfile.TemporaryDirectory())
    return _held[0].name


def _imports(code: str, _: int) -> Iterable[Pair]:
    yield Pair(f"{code} / import pandas", partial(_python, code), partial(_python, "import pandas"))


def _notebook(folder: Path, *, with_everything: bool) -> Path:
    """The stock page's notebook, its imports as they are or with every library's before them."""
    book: Any = nbformat.read(shipped_folder("notebooks") / "stock.ipynb", as_version=4)
    if with_everything:
        book.cells.insert(1, nbformat.v4.new_code_cell(EVERYTHING))
    path = folder / f"stock_{with_everything}.ipynb"
    nbformat.write(book, path)
    return path


def _cold(_: int) -> Iterable[Pair]:
    from made_run import make_run

    with tempfile.TemporaryDirectory() as name:
        run = str(make_run(Path(name) / "run"))
        lean, full = (
            str(_notebook(Path(name), with_everything=everything)) for everything in (False, True)
        )
        yield Pair(
            "stock page cold / with everything imported",
            partial(_python, COLD, lean, run), partial(_python, COLD, full, run),
        )  # fmt: skip


def _next(_: int) -> Iterable[Pair]:
    from made_run import make_run

    with tempfile.TemporaryDirectory() as name:
        run = str(make_run(Path(name) / "run"))
        notebook = _notebook(Path(name), with_everything=False)
        warm, end = _warm(notebook, run)
        try:
            yield Pair(
                "next stock page on a warm kernel / cold", warm,
                partial(_python, COLD, str(notebook), run),
            )  # fmt: skip
        finally:
            end()


def _warm(notebook: Path, run: str) -> tuple[Callable[[], object], Callable[[], None]]:
    """Run the notebook in a kernel that stays, and how to end it."""
    from jupyter_client.manager import start_new_kernel
    from nbclient import NotebookClient

    os.environ["PYTHONPATH"] = os.pathsep.join(
        filter(None, [SOURCE, os.environ.get("PYTHONPATH", "")])
    )
    manager, client = start_new_kernel(kernel_name="python3")
    held: Any = nbformat.read(notebook, as_version=4)
    for cell in held.cells:
        if "parameters" in cell.metadata.get("tags", []):
            cell.source = f"run_folder = {run!r}"

    def once() -> object:
        runner = NotebookClient(held, km=manager)
        runner.kc = client
        return runner.execute()

    def end() -> None:
        client.stop_channels()
        manager.shutdown_kernel(now=True)

    return once, end


ALL_NAMES = "import dutylife; [getattr(dutylife, name) for name in dutylife.__all__]"
BENCHMARKS = (
    Benchmark("P18", Aim(1.15), partial(_imports, "import dutylife")),
    # no target is set for it: every module of every stage
    Benchmark("P18-whole", None, partial(_imports, ALL_NAMES)),
    Benchmark("P19", Aim(0.65), _cold),
    Benchmark("P19-next", Aim(0.12), _next),
)
