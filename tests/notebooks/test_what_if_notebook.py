"""The what-if notebook runs in a real kernel on the demo's run, and its sliders answer."""

from pathlib import Path

import nbformat
from nbclient import NotebookClient

from dutylife.provenance import shipped_folder

MOVE = """
controls = panel.children
hours = [c for c in controls if c.description == "hours run, times"][0]
before = controls[-1].value
hours.value = 2.0
print("2 times as much" in controls[-1].value, before != controls[-1].value)
hours.value = 1.0
print(controls[-1].value == before)
skip = [c for c in controls if c.description == "skip"][0]
skip.value = skip.options[1]
print(f"{skip.options[1]}&#39; is skipped" in controls[-1].value)
"""
VIEW = "application/vnd.jupyter.widget-view+json"


def test_the_notebook_runs_and_a_moved_slider_answers(demo_folder: Path):
    book = nbformat.read(shipped_folder("notebooks") / "what_if.ipynb", as_version=4)
    for cell in book.cells:
        if "parameters" in cell.metadata.get("tags", []):
            cell.source = f"run_folder = {str(demo_folder)!r}"
        cell.source = cell.source.replace(
            "dl.what_if_panel(run)", "panel = dl.what_if_panel(run)\npanel"
        )
    book.cells.append(nbformat.v4.new_code_cell(MOVE))
    NotebookClient(book, timeout=300, kernel_name="python3").execute()
    outputs = [o for cell in book.cells if cell.cell_type == "code" for o in cell.outputs]
    assert not [o for o in outputs if o.output_type == "error"]
    assert [o for o in outputs if VIEW in o.get("data", {})], "the sliders are shown"
    assert [o for o in outputs if "image/png" in o.get("data", {})], "the difference is drawn"
    said = "".join(o["text"] for o in book.cells[-1].outputs if o.output_type == "stream")
    assert said.split() == ["True", "True", "True", "True"]
    told = "".join(o["text"] for o in outputs if o.output_type == "stream")
    assert "instead of" in told
