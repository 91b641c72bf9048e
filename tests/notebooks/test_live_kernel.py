"""In a live notebook a run shows where it is, and a stage can be called alone."""

from pathlib import Path

import nbformat
from nbclient import NotebookClient

from dutylife.provenance import shipped_folder


def test_a_check_in_a_real_kernel_shows_its_steps(tmp_path: Path):
    settings = shipped_folder("data_demo") / "dutylife.toml"
    book = nbformat.v4.new_notebook()
    book.cells = [
        nbformat.v4.new_code_cell(
            f"import dutylife as dl\nresult = dl.check({str(settings)!r})\nprint(result.text)"
        )
    ]
    NotebookClient(book, timeout=120, kernel_name="python3").execute()
    outputs = book.cells[0].outputs
    shown = [o["data"]["text/plain"] for o in outputs if o.output_type == "display_data"]
    assert shown == ["dutylife: coding events"]  # one line, changed at each step
    said = "".join(o["text"] for o in outputs if o.output_type == "stream" and o.name == "stdout")
    assert "rows in" in said
    assert not [o for o in outputs if o.output_type == "stream" and o.name == "stderr"]
