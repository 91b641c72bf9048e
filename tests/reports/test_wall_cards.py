"""A card for each machine: task, day, who, caution; nothing of the data is markup."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest
from made_run import BAD, make_run

from dutylife.components import shipped_components
from dutylife.reports import write_wall_cards
from dutylife.reports.cautions import CAUTIONS, FOOTER
from dutylife.reports.maintenance.card_cautions import SHORT, hazards_of
from dutylife.run_folder import write_tables
from dutylife.schema import as_table

TASKS = [
    ("C-1", f"Kerb {BAD}", "light tower", "fuel hose and clamps", "inspect", "qualified person",
     "fire", "2026-04-02", None, 180.0, "days"),
    ("C-1", f"Kerb {BAD}", "light tower", "air filter", "replace", "yard", "", "2026-04-02",
     300.0, 120.0, "hours"),
    ("C-1", f"Kerb {BAD}", "light tower", "engine oil", "inspect", "operator", "", None, 8.0, 4.0,
     "hours"),
    ("A-9", "Quay", "air compressor", "safety relief valve", "test", "qualified person",
     "pressure", None, None, 365.0, "days"),
]  # fmt: skip
NAMES = ("unit_id", "customer", "equipment_class", "component", "task", "done_by", "can_hurt",
         "next_on", "interval_hours", "interval_days", "clock")  # fmt: skip


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = make_run(tmp_path_factory.mktemp("cards") / "run")
    rows = pd.DataFrame(TASKS, columns=NAMES).assign(
        duty="harbour", is_overdue=[True, False, False, True], part_number=["", "AF-1", "", ""]
    )
    chances = pd.DataFrame(
        [{"component": "air filter", "duty": "harbour", "change_if_open_past_hours": 210.0,
          "change_if_open_past_days": 84.0, "interval_hours": 300.0}]
    )  # fmt: skip
    write_tables(
        {"machine_tasks": as_table("machine_tasks", rows.assign(
            next_on=pd.to_datetime(rows["next_on"]))),
         "opportunities": as_table("opportunities", chances)},
        folder / "tables",
    )  # fmt: skip
    return write_wall_cards(folder).read_text(encoding="utf-8")


def cards(page: str) -> list[str]:
    return re.findall(r'<article class="card">.*?</article>', page, re.DOTALL)


class Text(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.words.append(data.strip())

    @property
    def text(self) -> str:
        return " ".join(w for w in self.words if w)


def test_a_look_that_rides_along_is_never_called_overdue(tmp_path: Path):
    """No visit is made for it, so that it can't be late: it is done when the machine is in."""
    folder = make_run(tmp_path / "run")
    rows = pd.DataFrame(TASKS, columns=NAMES).assign(
        duty="harbour", is_overdue=True, rides_along=[False, True, True, False], part_number="",
        done_by="yard", next_on=pd.to_datetime(["2026-04-07", "2026-04-07", None, None]),
    )  # fmt: skip
    write_tables({"machine_tasks": as_table("machine_tasks", rows)}, folder / "tables")
    found = " ".join(Text(c).text for c in cards(write_wall_cards(folder).read_text("utf-8")))
    assert found.count("overdue") == 2
    assert found.count("when next in") == 3  # one of them is overdue and has no day


def test_one_card_for_each_machine_customers_in_order(page: str):
    found = [Text(c).text for c in cards(page)]
    assert len(found) == 2
    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert headings[0].startswith("Kerb")
    assert headings[1:] == ["Quay", "Cautions in full"]


def test_a_card_says_task_day_who_and_caution_in_one_row(page: str):
    card = next(c for c in cards(page) if "C-1" in c)
    rows = {Text(r).text for r in re.findall(r"<tr>.*?</tr>", card, re.DOTALL)}
    hose = next(r for r in rows if r.startswith("inspect fuel hose and clamps"))
    for what in ("2 Apr 2026", "overdue", "6 months", "qualified person", SHORT["Fire"]):
        assert what in hose
    filters = next(r for r in rows if r.startswith("replace air filter"))
    for what in ("AF-1", "2 Apr 2026", "300\u00a0h", "yard", "change it past 210\u00a0h"):
        assert what in filters
    oil = next(r for r in rows if r.startswith("inspect engine oil"))
    for what in ("between visits", "8\u00a0h", "operator", SHORT["Hot parts, hot oil"]):
        assert what in oil
    assert "Next visit: 2 Apr 2026" in Text(card).text
    assert FOOTER in Text(card).text


def test_overdue_without_a_visit_is_not_hidden(page: str):
    card = next(c for c in cards(page) if "A-9" in c)
    text = Text(card).text
    assert "overdue" in text
    assert "No visit within" in text
    assert SHORT["Stored pressure"] in text
    assert SHORT["Pressure vessel"] in text


def test_data_is_text_and_the_page_needs_nothing(page: str):
    seen = Text(page)
    assert BAD in seen.text
    assert {"script", "link", "iframe", "img"}.isdisjoint(seen.tags)
    assert '<html lang="en">' in page
    assert page.count('scope="row"') == len(TASKS)
    assert page.count("<caption") == 2


def test_a_run_without_tasks_says_so(tmp_path: Path):
    text = write_wall_cards(make_run(tmp_path / "run")).read_text(encoding="utf-8")
    assert "No machine in service has a task." in text
    assert not cards(text)


def test_every_component_of_the_list_has_a_caution_of_the_list():
    known = {hazard for hazard, _ in CAUTIONS}
    assert set(SHORT) <= known
    for component in shipped_components().values():
        hazards = hazards_of(component.system, component.can_hurt)
        assert hazards
        assert set(hazards) <= set(SHORT)
    assert hazards_of("", "") == ("Unexpected start",)
