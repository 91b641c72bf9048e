"""Each page on a desk, a tablet, a phone and on paper: nothing cut off, no error, axe content."""

from pathlib import Path
from urllib.parse import unquote, urlsplit

import axe
import pytest
from devtools import Browser

pytestmark = pytest.mark.browser

PAGES = ("stock", "maintenance", "evidence", "wall-cards", "lives", "data-slip")
SCREENS = {"desk": (1280, 800), "tablet": (768, 1024), "phone": (390, 844), "print": (703, 1017)}
LINKS = "[...document.querySelectorAll('a[href]')].map(a => a.href)"
IDS = "[...document.querySelectorAll('[id]')].map(e => e.id)"
OPEN_ALL = "document.querySelectorAll('details').forEach(d => d.open = true)"
# cards and rows beyond the first are alike in form; axe takes minutes over 20 000 elements
FIRST_ONES = """[...document.querySelectorAll('.card')].slice(8).forEach(c => c.remove());
document.querySelectorAll('tbody tr:nth-child(n+26)').forEach(r => r.remove());
[...document.querySelectorAll('details')].slice(0, 2).forEach(d => d.open = true)"""
UNNAMED = "[...document.images].filter(i => !i.alt.trim()).length"
# text beyond the right edge; on a tablet and a phone a table may scroll, on a desk and paper not
CUT_OFF = """[...document.querySelectorAll('td, th, p, li, h1, h2, h3, figure')].filter(e => {
  const free = matchMedia('print').matches || innerWidth > 1000 ? '.unseen' : '.scroll, .unseen';
  if (e.closest(free)) return false;
  const box = e.getBoundingClientRect();
  return box.width > 0 && box.right > innerWidth + 1;
}).map(e => e.outerHTML.slice(0, 120)).slice(0, 3)"""


@pytest.fixture(scope="module")
def axe_source(tmp_path_factory: pytest.TempPathFactory) -> str:
    try:
        return axe.source(tmp_path_factory.mktemp("axe"))
    except OSError as error:
        from conftest import REQUIRED

        if "axe" in REQUIRED:
            pytest.fail(f"axe is required (DUTYLIFE_REQUIRE): {error}", pytrace=False)
        pytest.skip(str(error))


def look_at(browser: Browser, page: Path, screen: str) -> None:
    browser.open(page, *SCREENS[screen])
    if screen == "print":
        browser.as_printed()


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_cut_off_and_nothing_complains(
    demo_folder: Path, browser: Browser, page: str, screen: str
):
    look_at(browser, demo_folder / f"{page}.html", screen)
    browser.ask(OPEN_ALL)
    assert browser.ask("document.documentElement.scrollWidth") <= browser.ask("innerWidth")
    assert browser.ask(CUT_OFF) == []
    assert browser.ask(UNNAMED) == 0
    assert browser.errors == []


@pytest.mark.parametrize(
    "screen", ["phone", *(pytest.param(s, marks=pytest.mark.slow) for s in SCREENS if s != "phone")]
)
@pytest.mark.parametrize("page", PAGES)
def test_axe_finds_nothing_wrong(
    demo_folder: Path, browser: Browser, axe_source: str, page: str, screen: str
):
    look_at(browser, demo_folder / f"{page}.html", screen)
    browser.ask(FIRST_ONES)
    assert axe.violations(browser, axe_source) == []


def test_the_data_slip_fits_one_sheet(demo_folder: Path, browser: Browser):
    look_at(browser, demo_folder / "data-slip.html", "print")
    assert browser.ask("document.documentElement.scrollHeight") <= 1017


def test_axe_sees_a_planted_fault(tmp_path: Path, browser: Browser, axe_source: str):
    page = tmp_path / "bad.html"
    page.write_text(
        "<!doctype html><html lang=en><title>x</title><main><h1>x</h1>"
        "<p style='color:#bbb;background:#fff'>pale</p><img src='data:,'></main></html>"
    )
    browser.open(page, 1280, 800)
    found = " ".join(axe.violations(browser, axe_source))
    assert "color-contrast" in found
    assert "image-alt" in found


def test_every_link_leads_somewhere(demo_folder: Path, browser: Browser):
    held: dict[str, set[str]] = {}
    asked: list[tuple[str, str]] = []
    for page in PAGES:
        browser.open(demo_folder / f"{page}.html", *SCREENS["desk"])
        held[f"{page}.html"] = set(browser.ask(IDS))
        for link in browser.ask(LINKS):
            parts = urlsplit(link)
            assert parts.scheme == "file"
            asked.append((unquote(parts.path), parts.fragment))
    assert len(asked) > 50
    for path, fragment in set(asked):
        assert Path(path).is_file(), path
        name = Path(path).relative_to(demo_folder).as_posix()
        assert not fragment or fragment in held[name], f"{name}#{fragment}"


def test_a_link_to_lives_unfolds_them(demo_folder: Path, browser: Browser):
    """A reader who follows a link from a law sees the lives, not a closed heading."""
    browser.open(demo_folder / "evidence.html", *SCREENS["desk"])
    link = browser.ask("document.querySelector('a[href^=\"lives.html#\"]').getAttribute('href')")
    name = link.split("#")[1]
    browser.open(demo_folder / "lives.html", *SCREENS["desk"])
    browser.ask(f"location.hash = '{name}'")
    assert browser.ask(f"document.getElementById('{name}').getBoundingClientRect().height") > 0
