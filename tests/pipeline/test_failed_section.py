"""A section broken in a whole run: the run is done, says so, and ends with status 1."""

import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "reports"))

from planted import plant  # noqa: E402

from dutylife.cli import main  # noqa: E402
from dutylife.practice import make_practice  # noqa: E402
from dutylife.reports import workbook  # noqa: E402


@pytest.mark.slow
def test_a_run_with_a_broken_section_is_whole_and_ends_with_status_1(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    settings = make_practice(tmp_path / "fleet", n_units=12, n_years=1.5, seed=5)["settings"]
    folder = tmp_path / "run"
    ask = ["run", str(settings), "--out", str(folder)]
    fine = CliRunner().invoke(main, ask)
    assert fine.exit_code == 0, fine.output
    assert json.loads((folder / "run.json").read_text())["sections_failed"] == []
    names = sorted(p.name for p in folder.iterdir())
    plant(tmp_path / "kernel", monkeypatch, "secret of a customer", "why")
    done = CliRunner().invoke(main, ask)
    assert done.exit_code == 1, done.output
    assert "page stock: the section 'why' could not be made (ValueError)" in done.stdout
    assert "ValueError: secret of a customer" in done.stderr
    assert sorted(p.name for p in folder.iterdir()) == names
    text = (folder / "run.json").read_text(encoding="utf-8")
    assert json.loads(text)["sections_failed"] == [
        {"page": "stock", "section": "why", "error": "ValueError"}
    ]
    assert "secret" not in text
    page = (folder / "stock.html").read_text(encoding="utf-8")
    assert "1 section of this page is missing, since it could not be made: why." in page
    assert "This section could not be made: ValueError: secret of a customer;" in page


@pytest.mark.slow
def test_a_run_whose_order_list_fails_is_whole_without_it(tmp_path, monkeypatch):
    settings = make_practice(tmp_path / "fleet", n_units=12, n_years=1.5, seed=5)["settings"]
    folder = tmp_path / "run"

    def broken(*_):
        raise ValueError("secret of a customer")

    monkeypatch.setattr(workbook, "_read_me", broken)
    done = CliRunner().invoke(main, ["run", str(settings), "--out", str(folder)])
    assert done.exit_code == 1, done.output
    assert "order-list.xlsx could not be made (ValueError)" in done.stdout
    assert "ValueError: secret of a customer" in done.stderr
    assert not (folder / "order-list.xlsx").exists()
    text = (folder / "run.json").read_text(encoding="utf-8")
    assert json.loads(text)["sections_failed"] == [
        {"page": "order-list.xlsx", "section": "the whole file", "error": "ValueError"}
    ]
    page = (folder / "stock.html").read_text(encoding="utf-8")
    assert "1 file of this run is missing, since it could not be made: order-list.xlsx." in page
    assert all((folder / n).is_file() for n in ("wall-cards.html", "maintenance-calendar.ics"))
