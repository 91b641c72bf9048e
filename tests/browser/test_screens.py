"""Each page answers on its first screen, fits a desk and a phone, and asks nobody for anything."""

from pathlib import Path

import pytest
from devtools import Browser

pytestmark = pytest.mark.browser

PAGES = ("stock", "maintenance", "evidence")
SCREENS = ((1280, 800), (390, 844))
# rows of the n-th table that end above the fold
ROWS_ABOVE_FOLD = """(n => [...document.querySelectorAll('table')[n].querySelectorAll('tbody tr')]
  .filter(r => r.getBoundingClientRect().bottom <= innerHeight).map(r => r.innerText))"""
VISIBLE_TEXT = """[...document.querySelectorAll('h1, p, th, td, caption, li')]
  .filter(e => e.getBoundingClientRect().bottom <= innerHeight).map(e => e.innerText).join(' | ')"""


@pytest.mark.parametrize(("width", "height"), SCREENS)
@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_wider_than_the_screen(
    demo_folder: Path, browser: Browser, page: str, width: int, height: int
):
    browser.open(demo_folder / f"{page}.html", width, height)
    assert browser.ask("innerWidth") == width
    assert browser.ask("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("width", "height"), SCREENS)
@pytest.mark.parametrize("page", PAGES)
def test_hostile_text_is_only_text(
    hostile_folder: Path, browser: Browser, page: str, width: int, height: int
):
    browser.open(hostile_folder / f"{page}.html", width, height)
    assert browser.ask("document.documentElement.scrollWidth") <= width
    assert browser.dialogs == []
    assert browser.ask("document.scripts.length") == 0
    assert (
        browser.ask("document.querySelectorAll('img:not([src^=\"data:image/svg\"])').length") == 0
    )
    # the text is there, as text
    assert "<script>alert" in browser.ask("document.body.innerText")


def test_a_script_that_got_through_would_be_seen(tmp_path: Path, browser: Browser):
    page = tmp_path / "bad.html"
    page.write_text(
        "<!doctype html><div style='width:3000px'>x</div><img src=x onerror=alert(1)>"
        "<script>alert('x')</script>"
    )
    browser.open(page, 1280, 800)
    assert browser.dialogs
    assert browser.ask("document.scripts.length") == 1
    assert browser.ask("document.documentElement.scrollWidth") > 1280


@pytest.mark.parametrize("page", PAGES)
def test_a_page_needs_no_other_file(demo_folder: Path, browser: Browser, page: str):
    here = (demo_folder / f"{page}.html").resolve().as_uri()
    browser.open(demo_folder / f"{page}.html", 1280, 800)
    assert [u for u in browser.asked_for if u != here and not u.startswith("data:")] == []


def test_stock_shows_five_order_lines_at_once(demo_folder: Path, browser: Browser):
    browser.open(demo_folder / "stock.html", 1280, 800)
    rows = browser.ask(f"{ROWS_ABOVE_FOLD}(0)")
    assert len(rows) >= 5
    assert all("order " in r or "hold " in r for r in rows)
    assert "today" in browser.ask("document.querySelector('.answer').innerText")


def test_maintenance_shows_five_visits_and_the_intervals_asked_for(
    demo_folder: Path, browser: Browser
):
    browser.open(demo_folder / "maintenance.html", 1280, 800)
    # overdue safety work and the saving stand above them
    assert len(browser.ask(f"{ROWS_ABOVE_FOLD}(0)")) >= 5
    seen = browser.ask(VISIBLE_TEXT)
    assert "can hurt someone" in seen
    assert "saves the contractor" in seen
    intervals = " ".join(browser.ask(f"{ROWS_ABOVE_FOLD}(1)"))
    for component in ("ignition cap", "carburetor", "air filter"):
        assert component in intervals
    assert "failure" in intervals


def test_evidence_accounts_for_every_row_first(demo_folder: Path, browser: Browser):
    browser.open(demo_folder / "evidence.html", 1280, 800)
    seen = browser.ask(VISIBLE_TEXT)
    assert "rows in =" in seen
    assert "set aside" in seen


@pytest.mark.parametrize("page", PAGES)
def test_a_phone_shows_the_answer_first_in_readable_size(
    demo_folder: Path, browser: Browser, page: str
):
    browser.open(demo_folder / f"{page}.html", 390, 844)
    assert browser.ask("document.querySelector('.answer').getBoundingClientRect().bottom") <= 844
    small = browser.ask(
        "Math.min(...[...document.querySelectorAll('p, td, th, li, small, caption')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert small >= 13
    # each row of a table is a card: its cells stand below each other
    assert browser.ask("getComputedStyle(document.querySelector('tbody tr')).display") == "block"
