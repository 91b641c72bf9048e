"""Pages stand alone: no code, script or remote resource; a cell that fails fails the run."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from made_run import BAD

from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports import SECTIONS, pages, section, write_pages
from dutylife.reports.cautions import FOOTER
from dutylife.reports.whole_page import OTHER_PAGES, PAGES

NAMES = ("stock", "maintenance", "evidence")
VOID = {"meta", "img", "br", "link", "hr", "input"}


class Seen(HTMLParser):
    """Tags, attributes and text of a page; open tags must be closed in turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.text.append(data)


@pytest.fixture(scope="module", params=NAMES)
def page(request: pytest.FixtureRequest, written: Path) -> str:
    return (written / f"{request.param}.html").read_text(encoding="utf-8")


def test_a_page_needs_nothing_from_anywhere(page: str):
    seen = Seen(page)
    assert seen.open == []
    assert {"script", "link", "iframe", "object", "embed", "base"}.isdisjoint(seen.tags)
    assert all(v.startswith("data:") for k, v in seen.attributes if k == "src" and v)
    links = {str(v).split("#")[0] for k, v in seen.attributes if k == "href"}
    assert links <= {f"{name}.html" for name in PAGES | OTHER_PAGES}
    assert not re.search(r"url\(|@import", page)


def test_text_of_data_is_text(page: str):
    seen = Seen(page)
    assert not [k for k, _ in seen.attributes if k.startswith("on")]
    assert BAD in "".join(seen.text)


def test_a_page_holds_no_code_and_no_path(page: str, written: Path):
    text = " ".join(Seen(page).text)
    for code in ("dl.section", "import dutylife", "run_folder", str(written)):
        assert code not in text
    assert str(written) not in page


def test_a_page_has_language_title_one_heading_and_the_footer(page: str):
    seen = Seen(page)
    assert page.startswith('<!doctype html>\n<html lang="en">')
    assert seen.tags.count("title") == seen.tags.count("h1") == seen.tags.count("main") == 1
    assert FOOTER in " ".join(seen.text)
    assert all(v for k, v in seen.attributes if k == "alt")
    assert "@page { size: A4" in page


def test_the_style_stands_once(page: str):
    assert Seen(page).tags.count("style") == 1


@pytest.mark.parametrize("name", SECTIONS)
def test_a_section_is_the_same_each_time(run: Run, name: str):
    assert section(run, name).html == section(run, name).html


def test_a_section_shows_itself_in_a_notebook(run: Run):
    html = section(run, "order today")._repr_html_()
    assert html.startswith("<style>")
    assert "<table" in html


def test_an_unknown_section_names_the_nearest(run: Run):
    with pytest.raises(RunError, match="did you mean 'order today'"):
        section(run, "orders today")


def notebook(folder: Path, *cells: str, parameter: str = "run_folder") -> Path:
    """A folder with three notebooks of the same cells."""
    blank = {"cell_type": "code", "execution_count": None, "outputs": []}
    first = blank | {
        "id": "a", "metadata": {"tags": ["parameters"]}, "source": f"{parameter} = ''",
    }  # fmt: skip
    rest = [blank | {"id": f"b{n}", "metadata": {}, "source": c} for n, c in enumerate(cells)]
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    held = {
        "cells": [first, *rest], "metadata": {"kernelspec": kernel}, "nbformat": 4,
        "nbformat_minor": 5,
    }  # fmt: skip
    for name in NAMES:
        (folder / f"{name}.ipynb").write_text(json.dumps(held), encoding="utf-8")
    return folder


def test_a_cell_that_fails_names_notebook_and_cell_and_leaves_no_page(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
):
    shelf = notebook(tmp_path, "1 + 1", "import dutylife as dl\ndl.section(run_folder, 'nothing')")
    monkeypatch.setattr(pages, "shipped_folder", lambda name: shelf)
    with pytest.raises(RunError) as caught:
        write_pages(run.folder)
    assert "There is no section 'nothing'" in caught.value.what
    assert "stock.ipynb, cell 3" in caught.value.where
    assert not list(run.folder.glob("*.html"))


def test_a_notebook_with_another_parameter_is_refused(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(
        pages, "shipped_folder", lambda name: notebook(tmp_path, parameter="folder")
    )
    with pytest.raises(RunError, match=r"takes \['folder'\], not 'run_folder' alone"):
        write_pages(run.folder)


def test_a_notebook_that_would_load_a_script_is_refused(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
):
    shelf = notebook(
        tmp_path,
        "from IPython.display import HTML\nHTML('<script src=\"https://example.invalid/x.js\"></script>')",
    )
    monkeypatch.setattr(pages, "shipped_folder", lambda name: shelf)
    with pytest.raises(RunError, match="script or a remote resource"):
        write_pages(run.folder)
    assert not list(run.folder.glob("*.html"))
