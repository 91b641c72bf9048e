"""Nothing that is printed promises: no "safe", no "guaranteed"; each thing bears its caution."""

import html
import re
import shutil
import zipfile
from pathlib import Path

import pytest

from dutylife import reports
from dutylife.models.verdict import strength
from dutylife.reports.cautions import CALENDAR_LINE, FOOTER

# "safety" is the trade's word for a kind of work and stands; a promise never does
REFUSED = re.compile(
    r"\bsafe(?:ly|r|st)?\b|\bguarant\w+|\bwill last\b|\bcertainly\b|\bdefinitely\b|\bproven\b"
    r"|\bno doubt\b|\bnever fails?\b|\bfail-?safe\b",
    re.IGNORECASE,
)
PAGES = ("stock", "maintenance", "evidence", "wall-cards", "lives", "data-slip")
SAYS_HOW_SURE = {"Not enough evidence", "Leaning", "Supported"}  # the scale; "strong" needs reruns


@pytest.fixture(scope="module")
def everything(written: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("worded") / "run"
    shutil.copytree(written, folder)
    reports.write_wall_cards(folder)
    reports.write_lives_page(folder)
    reports.write_data_slip(folder)
    return folder


def text_of_page(path: Path) -> str:
    """Words of a page: tags, styles and pictures taken out, their descriptions kept."""
    text = re.sub(r"<style>.*?</style>", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    alts = " ".join(re.findall(r'alt="([^"]*)"', text))
    return html.unescape(re.sub(r"<[^>]+>", " ", text) + alts)


def text_of_workbook(path: Path) -> str:
    with zipfile.ZipFile(path) as book:
        parts = [book.read(n).decode("utf-8") for n in book.namelist() if n.endswith(".xml")]
    return html.unescape(re.sub(r"<[^>]+>", " ", " ".join(parts)))


def text_of_calendar(path: Path) -> str:
    return re.sub(r"\r?\n[ \t]", "", path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", PAGES)
def test_a_page_promises_nothing_and_bears_its_caution(everything: Path, page: str):
    text = text_of_page(everything / f"{page}.html")
    assert REFUSED.findall(text) == []
    assert FOOTER in text


def test_the_workbook_promises_nothing_and_bears_its_caution(everything: Path):
    text = text_of_workbook(everything / "order-list.xlsx")
    assert REFUSED.findall(text) == []
    assert FOOTER in text


def test_the_calendar_promises_nothing_and_bears_its_caution(everything: Path):
    text = text_of_calendar(everything / "maintenance-calendar.ics")
    assert REFUSED.findall(text) == []
    entries = text.split("BEGIN:VEVENT")[1:]
    assert entries
    first = CALENDAR_LINE.split(",")[0]
    assert all(first in e for e in entries)


@pytest.mark.parametrize(
    "words", ["it is safe until 200 h", "Guaranteed", "this belt will last a year", "safely"]
)
def test_a_planted_promise_is_seen(words: str):
    assert REFUSED.search(words)
    assert not REFUSED.search("Safety work only; unsafe; 9 chances in 10; lasted longer")


def test_words_of_certainty_follow_the_scale():
    """Below 5 failures, or shape from 0.8 to 2: not enough; 10 and on one side of 1: supported."""
    assert strength(4, (1.2, 1.8), (1.3, 1.7)) == "Not enough evidence"
    assert strength(30, (0.7, 2.1), (1.1, 1.9)) == "Not enough evidence"
    assert strength(6, (1.1, 1.9), (1.2, 1.8)) == "Leaning"
    assert strength(12, (1.0, 1.9), (1.1, 1.8)) == "Supported"
    assert strength(12, (0.9, 1.9), (0.95, 1.8)) == "Leaning"
    said = {
        strength(n, (low - 0.1, high + 0.1), (low, high))
        for n in (0, 3, 5, 9, 10, 40)
        for low in (0.5, 0.9, 1.1)
        for high in (1.2, 2.5)
    }
    assert said == SAYS_HOW_SURE
