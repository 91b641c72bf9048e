"""Each notebook for work runs top to bottom in a real kernel on the demo's data, and says its say."""

from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

from dutylife.provenance import shipped_folder

SETTINGS = shipped_folder("data_demo") / "dutylife.toml"
# what a person must find in what the cells print and show
SAYS = {
    "component": [
        "ignition cap: 52 failures in 140 lives over 4 duties", "Weibull", "lasted longer.",
        "Allowing for those cut off",
    ],
    "confirm": [
        "27 columns of 3 files are read, 0 are not used; nothing in the cells speaks against it",
        "rows in", "became events", "to_review.csv",
    ],
    "own_report": ["Work by customer", "order today", "Harbour Maintenance"],
    "part_makers": ["No component has parts of two makers", "AF-3301", "times_life"],
}  # fmt: skip
PICTURES = {"component": 2, "own_report": 1}


def run(name: str, demo_folder: Path, out: Path) -> Any:
    """The notebook, run; its parameters name the demo's run and settings."""
    book: Any = nbformat.read(shipped_folder("notebooks") / f"{name}.ipynb", as_version=4)
    cell = next(c for c in book.cells if "parameters" in c.metadata.get("tags", []))
    given = {"run_folder": str(demo_folder), "settings": str(SETTINGS), "out": str(out)}
    lines = cell.source.splitlines()
    cell.source = "\n".join(
        f"{key} = {given[key]!r}" if (key := line.split(" = ")[0]) in given else line
        for line in lines
    )
    NotebookClient(book, timeout=300, kernel_name="python3").execute()
    return book


@pytest.mark.parametrize("name", SAYS)
def test_a_notebook_for_work_runs_on_the_demo(name: str, demo_folder: Path, tmp_path: Path):
    book = run(name, demo_folder, tmp_path / "out")
    outputs = [o for c in book.cells if c.cell_type == "code" for o in c.outputs]
    assert not [o for o in outputs if o.output_type == "error"]
    assert not [o for o in outputs if o.output_type == "stream" and o.name == "stderr"]
    shown = [o.get("text", "") for o in outputs]
    shown += [o.get("data", {}).get("text/html", "") for o in outputs]
    shown += [c.source for c in book.cells if c.cell_type == "markdown"]
    told = "\n".join(shown)
    for words in SAYS[name]:
        assert words in told
    drawn = [o for o in outputs if "image/png" in o.get("data", {})]
    assert len(drawn) == PICTURES.get(name, 0)
    if name == "confirm":
        assert (tmp_path / "out" / "to_review.csv").is_file()
