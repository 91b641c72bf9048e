"""Printing where it can't be done: said plainly, with what to do, and nothing half written."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from dutylife.cli import main
from dutylife.errors import RunError
from dutylife.reports import print_pages


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "run" / "tables").mkdir(parents=True)
    (tmp_path / "run" / "stock.html").write_text("<!doctype html><p>x</p>")
    return tmp_path / "run"


def test_without_a_browser_it_says_how_to_get_one(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PATH", str(folder))
    done = CliRunner().invoke(main, ["print", str(folder)])
    assert done.exit_code == 2
    assert "There is no Chromium to print with" in done.output
    assert "apt install chromium" in done.output
    assert "--browser" in done.output
    assert not list(folder.glob("*.pdf"))


def test_a_browser_that_is_not_there_is_named(folder: Path):
    done = CliRunner().invoke(main, ["print", str(folder), "--browser", "no-such-browser"])
    assert done.exit_code == 2
    assert "no-such-browser" in done.output


@pytest.mark.parametrize(
    ("does", "told"),
    [("echo boom >&2; exit 3", "boom"), ("exit 0", "status 0")],
    ids=["fails", "prints nothing"],
)
def test_a_browser_that_prints_nothing_is_told_and_the_print_before_stays(
    folder: Path, tmp_path: Path, does: str, told: str
):
    fake = tmp_path / "browser"
    fake.write_text(f"#!/bin/sh\n{does}\n")
    fake.chmod(0o755)
    (folder / "stock.pdf").write_bytes(b"before")
    with pytest.raises(RunError, match=f"Chromium printed nothing: {told}"):
        print_pages(folder, browser=fake)
    assert (folder / "stock.pdf").read_bytes() == b"before"


def test_a_folder_without_pages_is_no_success(tmp_path: Path):
    (tmp_path / "tables").mkdir()
    with pytest.raises(RunError, match="has no pages"):
        print_pages(tmp_path)
    with pytest.raises(RunError, match="holds no run"):
        print_pages(tmp_path / "tables")
