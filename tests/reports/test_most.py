"""Pages, calendar and packs of a large fleet hold so much, and say what they leave out."""

from pathlib import Path

import pandas as pd
import pytest
from icalendar import Calendar
from made_run import make_run

from dutylife import provenance
from dutylife.provenance import open_run
from dutylife.reports import (
    calendar,
    left_out_of_pages,
    write_calendar,
    write_lives_page,
    write_wall_cards,
)
from dutylife.reports.evidence import lives_page
from dutylife.reports.maintenance import wall_cards
from dutylife.reports.packs import chosen, left_out
from dutylife.reports.packs.chosen import chosen_customers
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.settings import settings_from


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = make_run(tmp_path / "run")
    tasks = pd.DataFrame(
        {
            "unit_id": ["C-1", "C-1", "A-9", "B-2"], "customer": ["Kerb", "Kerb", "Quay", "Kerb"],
            "component": ["air filter", "spark plug", "air filter", "air filter"],
            "task": "replace", "duty": "harbour", "done_by": "yard", "clock": "days",
            "interval_days": 90.0, "can_hurt": "", "equipment_class": "light tower",
            "next_on": pd.to_datetime(["2026-05-02", "2026-06-02", "2026-04-09", None]),
            "is_overdue": False, "part_number": "",
        }
    )  # fmt: skip
    write_tables({"machine_tasks": as_table("machine_tasks", tasks)}, made / "tables")
    return made


def test_a_calendar_holds_the_first_visits_and_says_of_how_many(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    visits = open_run(folder).table("visit_plan").sort_values(["due_on", "unit_id"])
    monkeypatch.setattr(calendar, "MOST_ENTRIES", 5)
    made = Calendar.from_ical(write_calendar(folder).read_bytes())
    days = sorted(e.decoded("dtstart") for e in made.walk("VEVENT"))
    assert days == [d.date() for d in visits["due_on"].head(5)]
    assert f"the first 5 of {len(visits)} visits" in str(made["x-wr-caldesc"])


def test_visits_behind_the_last_one_shown_are_not_called_off(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = write_calendar(folder)
    kept = tmp_path / "earlier.ics"
    kept.write_bytes(before.read_bytes())
    monkeypatch.setattr(calendar, "MOST_ENTRIES", 5)
    made = Calendar.from_ical(write_calendar(folder, [kept]).read_bytes())
    assert not [e for e in made.walk("VEVENT") if str(e["status"]) == "CANCELLED"]


def test_cards_are_of_the_machines_that_come_first(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wall_cards, "MOST_CARDS", 1)
    text = write_wall_cards(folder).read_text(encoding="utf-8")
    assert text.count('<article class="card">') == 1
    assert "<h3>A-9</h3>" in text
    assert "the first 1 of 3 machines in service" in text.replace("\u202f", " ")


def test_lives_of_a_long_cell_are_cut_and_counted(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lives = open_run(folder).table("failure_events")
    whole = write_lives_page(folder).read_text(encoding="utf-8")
    monkeypatch.setattr(lives_page, "MOST_LIVES", 2)
    cut = write_lives_page(folder).read_text(encoding="utf-8")
    sizes = lives.groupby(["component", "duty"], observed=True).size()
    assert cut.count('<tr><th scope="row">') == int(sizes.clip(upper=2).sum())
    assert whole.count('<tr><th scope="row">') == len(lives)
    assert "the first 2 of" in cut
    assert "the first 2 of" not in whole


def test_what_laws_leave_out_is_counted_of_all_lives_not_of_those_shown(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted: list[int] = []
    said = lives_page.left_out_words

    def words(lives: pd.DataFrame, models: pd.DataFrame) -> str:
        counted.append(len(lives))
        return said(lives, models)

    monkeypatch.setattr(lives_page, "MOST_LIVES", 2)
    monkeypatch.setattr(lives_page, "left_out_words", words)
    write_lives_page(folder)
    assert counted == [len(open_run(folder).table("failure_events"))]


def test_the_largest_customers_get_packs_where_none_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tasks = pd.DataFrame(
        {"unit_id": [f"M{i}" for i in range(6)], "customer": ["a", "b", "b", "c", "c", "c"]}
    )
    monkeypatch.setattr(chosen, "MOST_PACKS", 2)
    assert chosen_customers(tasks, "") == ["b", "c"]
    assert chosen_customers(tasks, ["a", "b", "c"]) == ["a", "b", "c"]


def test_what_is_left_out_is_a_finding(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = open_run(folder)
    tables = {n: run.table(n) for n in ("machine_tasks", "visit_plan", "failure_events")}
    assert left_out_of_pages(tables, settings_from({})).empty
    for name in ("MOST_CARDS", "MOST_ENTRIES", "MOST_PACKS", "MOST_LIVES"):
        monkeypatch.setattr(left_out, name, 1)
    told = left_out_of_pages(tables, settings_from({}))
    assert set(told["key"]) >= {"wall-cards.html", "maintenance-calendar.ics", "lives.html"}
    assert (told["kind"] == "note").all()


def test_a_large_table_is_read_from_its_parquet_to_the_same_values(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = open_run(folder)
    names = ("failure_events", "machine_tasks", "visit_plan", "intervals")
    texts = {name: run.table(name) for name in names}
    write_tables(texts, tmp_path / "again" / "tables")
    again = open_run(tmp_path / "again")
    monkeypatch.setattr(provenance, "LARGE_BYTES", -1)
    for name in names:
        pd.testing.assert_frame_equal(again.table(name), texts[name], rtol=1e-9)
    # a table changed by hand since is read as it stands
    file = tmp_path / "again" / "tables" / "visit_plan.csv"
    head = file.read_text(encoding="utf-8").splitlines()[:2]
    file.write_text("\n".join(head) + "\n", encoding="utf-8")
    assert len(again.table("visit_plan")) == 1
