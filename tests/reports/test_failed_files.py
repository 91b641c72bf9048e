"""A whole file that fails: no part of it stays, the pages say so, the rest stands."""

import shutil
from pathlib import Path

import pytest
from made_packs import OTHERS, write_run
from made_run import BAD

from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports import (
    FailedSection,
    calendar,
    workbook,
    write_customer_packs,
    write_other_files,
    write_pages,
)
from dutylife.reports.cautions import CAUTIONS
from dutylife.reports.evidence import data_slip, lives_page
from dutylife.reports.maintenance import wall_cards
from dutylife.reports.packs import write as pack_write

FILES = {
    "order-list.xlsx": (workbook, "_read_me"),
    "maintenance-calendar.ics": (calendar, "calendar_of"),
    "wall-cards.html": (wall_cards, "card_sections"),
    "lives.html": (lives_page, "lives_with_rows"),
    "data-slip.html": (data_slip, "slip_section"),
}
TOLD_ON = {
    "order-list.xlsx": "stock",
    "maintenance-calendar.ics": "maintenance",
    "wall-cards.html": "maintenance",
    "lives.html": "evidence",
    "data-slip.html": "evidence",
}


def broken(*_, **__):
    raise ValueError(f"no such thing {BAD}\nsecond line")


@pytest.fixture(scope="module")
def failing(run: Run, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[FailedSection]]:
    folder = shutil.copytree(run.folder, tmp_path_factory.mktemp("failing") / "run")
    failed: list[FailedSection] = []
    with pytest.MonkeyPatch.context() as patch:
        for module, name in FILES.values():
            patch.setattr(module, name, broken)
        assert write_other_files(folder, failed=failed) == []
    write_pages(folder, failed=failed)
    return folder, failed


def test_the_caller_is_told_each_file_with_the_whole_error(failing):
    _, failed = failing
    assert [f.page for f in failed] == list(FILES)
    for one in failed:
        assert one.text == f"{one.page} could not be made (ValueError)"
        assert one.about == {"page": one.page, "section": "the whole file", "error": "ValueError"}
        assert "Traceback" in one.trace
        assert f"no such thing {BAD}" in one.trace


def test_no_half_of_a_file_stays_and_its_page_says_why(failing):
    folder, _ = failing
    for name in ("order-list.xlsx", "maintenance-calendar.ics"):
        assert not (folder / name).exists()
    for name in ("wall-cards.html", "lives.html", "data-slip.html"):
        page = (folder / name).read_text(encoding="utf-8")
        assert "This page could not be made: ValueError: no such thing &lt;script&gt;" in page
        assert "second line" not in page
        assert "<script" not in page
    cards = (folder / "wall-cards.html").read_text(encoding="utf-8")
    assert all(hazard in cards for hazard, _ in CAUTIONS)


def test_first_screens_name_the_missing_files_and_the_rest_stands(failing, written: Path):
    folder, _ = failing
    for page in ("stock", "maintenance", "evidence"):
        text = (folder / f"{page}.html").read_text(encoding="utf-8")
        names = [n for n, where in TOLD_ON.items() if where == page]
        line = text.index("missing, since")
        assert text.index("</h1>") < line < text.index("<table")
        for name in TOLD_ON:
            told = text[line : text.index("nothing to do", line)]
            assert (name in told) == (name in names)
        whole = (written / f"{page}.html").read_text(encoding="utf-8")
        assert text.count("<table") == whole.count("<table")


def test_a_file_alone_that_fails_leaves_the_others(run: Run, tmp_path, monkeypatch):
    folder = shutil.copytree(run.folder, tmp_path / "run")
    monkeypatch.setattr(lives_page, "lives_with_rows", broken)
    failed: list[FailedSection] = []
    made = write_other_files(folder, failed=failed)
    assert [p.name for p in made] == [n for n in FILES if n != "lives.html"]
    assert all(p.stat().st_size > 0 for p in made)
    with pytest.raises(ValueError, match="no such thing"):
        write_other_files(folder)  # nobody takes it up


@pytest.mark.parametrize("error", [RunError("a calendar", "old.ics", "mend it"), OSError("full")])
def test_what_a_person_has_to_mend_stops_the_run(run: Run, tmp_path, monkeypatch, error):
    folder = shutil.copytree(run.folder, tmp_path / "run")

    def stops(*_, **__):
        raise error

    monkeypatch.setattr(calendar, "calendar_of", stops)
    with pytest.raises(type(error)):
        write_other_files(folder, failed=[])


def test_a_packs_page_says_its_missing_cards_by_the_kind_of_error_alone(tmp_path, monkeypatch):
    folder = write_run(tmp_path / "run", {})
    monkeypatch.setattr(pack_write, "cards_of", broken)
    failed: list[FailedSection] = []
    packs = write_customer_packs(folder, failed=failed)
    assert set(packs) == set(OTHERS)
    assert {f.page for f in failed} == {
        f"customers/{p.name}/wall-cards.html" for p in packs.values()
    }
    for path in packs.values():
        page = (path / "maintenance.html").read_text(encoding="utf-8")
        assert "1 file of this run is missing" in page
        assert "wall-cards.html" in page
        cards = (path / "wall-cards.html").read_text(encoding="utf-8")
        assert "This page could not be made: ValueError;" in cards
        assert "no such thing" not in cards
        assert (path / "maintenance-calendar.ics").is_file()
