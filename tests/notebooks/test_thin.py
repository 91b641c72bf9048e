"""Notebooks tell, the package computes: thin cells, no outputs kept, one parameters cell."""

import ast
import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
PAGES = ("evidence", "maintenance", "stock")
FOR_WORK = ("component", "confirm", "own_report", "part_makers", "what_if")
LINES_A_CELL = 12
LINES_A_NOTEBOOK = 60
MAY_IMPORT = {"dutylife", "pathlib"}
NO_SUCH = (
    ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.For, ast.While,
    ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp,
)  # fmt: skip


def faults(notebook: dict[str, Any]) -> list[str]:
    """What keeps a notebook from being thin."""
    out, total, parameters = [], 0, 0
    for number, cell in enumerate(notebook["cells"], 1):
        if cell["cell_type"] != "code":
            continue
        source = "".join(cell["source"])
        n_lines = len(source.splitlines())
        total += n_lines
        parameters += "parameters" in cell["metadata"].get("tags", [])
        if n_lines > LINES_A_CELL:
            out.append(f"cell {number}: {n_lines} lines")
        if cell["outputs"] or cell["execution_count"] is not None:
            out.append(f"cell {number}: output kept")
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, NO_SUCH):
                out.append(f"cell {number}: {type(node).__name__}")
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            out += [
                f"cell {number}: imports {n}" for n in names if n.split(".")[0] not in MAY_IMPORT
            ]
    if total > LINES_A_NOTEBOOK:
        out.append(f"{total} lines in all")
    if parameters != 1:
        out.append(f"{parameters} parameters cells")
    return out


def code(source: str, **more: Any) -> dict[str, Any]:
    cell = {"cell_type": "code", "metadata": {}, "outputs": [], "execution_count": None}
    return cell | {"source": source} | more


PARAMETERS = code("run_folder = ''", metadata={"tags": ["parameters"]})


def test_the_notebooks_are_there():
    assert {p.stem for p in NOTEBOOKS} == {*PAGES, *FOR_WORK, "sheet"}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_is_thin(path: Path):
    assert faults(json.loads(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_says_first_what_it_is_and_for_whom(path: Path):
    first = json.loads(path.read_text(encoding="utf-8"))["cells"][0]
    assert first["cell_type"] == "markdown"
    text = "".join(first["source"])
    assert text.startswith("# ")
    assert "for" in text.lower()


@pytest.mark.parametrize(
    "cell",
    [
        code("def f():\n    return 1"),
        code("for x in [1]:\n    x"),
        code("[x for x in [1]]"),
        code("import pandas"),
        code("from lifelines import WeibullFitter"),
        code("\n".join("x = 1" for _ in range(13))),
        code("x", outputs=[{"output_type": "stream", "name": "stdout", "text": "1"}]),
        code("x", execution_count=3),
        code("y = ''", metadata={"tags": ["parameters"]}),
    ],
)
def test_a_planted_fault_is_seen(cell: dict[str, Any]):
    assert faults({"cells": [PARAMETERS]}) == []
    assert faults({"cells": [PARAMETERS, cell]}) != []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_every_section_it_asks_for_exists(path: Path):
    from dutylife.reports import SECTIONS
    from dutylife.reports.sheet.page import SECTIONS as OF_SHEET

    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    tree = ast.parse("\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code"))
    asked = [
        n.args[-1].value
        for n in ast.walk(tree)
        if isinstance(n, ast.Call) and getattr(n.func, "attr", "") == "section"
    ]
    assert len(asked) >= 6 or path.stem in FOR_WORK
    assert set(asked) <= set(OF_SHEET if path.stem == "sheet" else SECTIONS)
