"""A section that fails says so at its place, on the first screen and to the caller."""

import re
import shutil
from pathlib import Path

import pytest
from made_packs import OTHERS, write_run
from made_run import BAD
from planted import plant
from test_pages import notebook

from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports import FailedSection, pages, write_customer_packs, write_pages
from dutylife.reports.cautions import CAUTIONS
from dutylife.reports.packs import page as pack_page

BOX = "This section could not be made: "


def headings(page: str) -> list[str]:
    return re.findall(r"<h2>(.*?)</h2>", page)


@pytest.fixture(scope="module")
def failing(run: Run, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[FailedSection]]:
    """The made run's pages with three sections broken, by a real kernel."""
    folder = shutil.copytree(run.folder, tmp_path_factory.mktemp("failing") / "run")
    failed: list[FailedSection] = []
    with pytest.MonkeyPatch.context() as patch:
        home = tmp_path_factory.mktemp("kernel")
        plant(home, patch, f"no such thing {BAD} in {folder}\nsecond line", "order today",
              "dead stock", "cautions")  # fmt: skip
        write_pages(folder, failed=failed)
    return folder, failed


def test_the_caller_is_told_page_section_and_the_whole_error(failing):
    folder, failed = failing
    assert [(f.page, f.section) for f in failed] == [
        ("stock", "order today"), ("stock", "dead stock"), ("maintenance", "cautions"),
    ]  # fmt: skip
    for one in failed:
        assert one.about == {"page": one.page, "section": one.section, "error": "ValueError"}
        assert "Traceback" in one.trace
        assert f"no such thing {BAD} in {folder}" in one.trace
        assert "\x1b" not in one.trace


def test_the_box_stands_in_its_place_and_the_rest_of_the_page_stands(failing, written: Path):
    folder, _ = failing
    page = (folder / "stock.html").read_text(encoding="utf-8")
    whole = (written / "stock.html").read_text(encoding="utf-8")
    assert page.count(BOX) == 2
    assert "; the figures beside are not touched by it." in page
    assert "2 sections of this page are missing" in page
    assert "order today, dead stock" in page
    first = page.index("2 sections of this page")
    assert page.index("</h1>") < first < page.index(BOX) < page.index("<table")
    before, there = headings(page), headings(whole)
    # the first section has no heading of its own where it is made
    assert before[0] == "Order today"
    assert [h for h in before[1:] if h != "Dead stock"] == [h for h in there if h in before[1:]]
    assert len(before) - 1 == len(there)
    at = page.index("<h2>Dead stock</h2>")
    assert page.index(BOX, at) - at < 200
    for title in there[-3:]:
        cut = whole.index(f"<h2>{title}</h2>")
        section = whole[cut : whole.index("</section>", cut)]
        assert section in page, "a section that could be made is the same to the last sign"


def test_a_page_without_a_failure_says_nothing_of_one(failing):
    page = (failing[0] / "evidence.html").read_text(encoding="utf-8")
    assert 'class="failed"' not in page
    assert BOX not in page


def test_the_words_of_an_error_are_text_and_name_no_folder(failing):
    folder, _ = failing
    for name in ("stock", "maintenance"):
        page = (folder / f"{name}.html").read_text(encoding="utf-8")
        assert "no such thing &lt;script&gt;" in page
        assert "<script" not in page
        assert "<img src=x" not in page
        assert str(folder) not in page
        assert "second line" not in page
        assert "Traceback" not in page


def test_every_caution_stands_where_it_cannot_be_told_which(failing):
    page = (failing[0] / "maintenance.html").read_text(encoding="utf-8")
    for hazard, _ in CAUTIONS:
        assert f"<li>{hazard}." in page


def test_a_failure_nobody_takes_up_is_an_error_once_the_pages_are_written(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = shutil.copytree(run.folder, tmp_path / "run")
    shelf = notebook(tmp_path, "import dutylife as dl", "dl.section(run_folder, 'shelf')")
    monkeypatch.setattr(pages, "shipped_folder", lambda name: shelf)
    plant(tmp_path / "kernel", monkeypatch, "no such thing", "shelf")
    with pytest.raises(RunError, match="page stock: the section 'shelf' could not be made"):
        write_pages(folder)
    assert BOX in (folder / "stock.html").read_text(encoding="utf-8")


def test_a_run_that_cannot_be_opened_is_no_failed_section(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = shutil.copytree(run.folder, tmp_path / "run")
    plant(tmp_path / "kernel", monkeypatch, "not to be opened", late=True)
    failed: list[FailedSection] = []
    with pytest.raises(RunError, match="not to be opened"):
        write_pages(folder, failed=failed)
    assert failed == []
    assert not list(folder.glob("*.html"))


def test_a_pack_says_a_failure_without_the_words_of_the_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def intervals(_: Run) -> None:
        raise ValueError(" ".join(OTHERS))

    makers = tuple(intervals if f.__name__ == "intervals" else f for f in pack_page.SECTIONS)
    monkeypatch.setattr(pack_page, "SECTIONS", makers)
    folder = write_run(tmp_path / "run", {"report": {"customer": ["Xyzzy Straße"]}})
    failed: list[FailedSection] = []
    packs = write_customer_packs(folder, failed=failed)
    page = (packs["Xyzzy Straße"] / "maintenance.html").read_text(encoding="utf-8")
    assert f"{BOX}ValueError; the figures" in page
    assert "1 section of this page is missing" in page
    for other in ("Plughkontor", "Fnordwerk", "Grault", "XYZZY", "Waldo"):
        assert other not in page
    (one,) = failed
    assert one.section == "intervals"
    assert one.page.startswith("customers/")
    assert "Fnordwerk" in one.trace
    with pytest.raises(RunError, match="the section 'intervals' could not be made"):
        write_customer_packs(folder)
