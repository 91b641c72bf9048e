"""The fleet manager's page: visits, intervals in meter and calendar, what can hurt, cautions."""

import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pandas as pd
from made_run import DUTIES, write_csv

from dutylife.provenance import Run, open_run
from dutylife.reports import section
from dutylife.reports.cautions import CAUTIONS
from dutylife.reports.facts import facts_of, records
from dutylife.reports.maintenance.maintenance_page import interval_words
from dutylife.reports.maintenance.visits_section import visit_answer


def words(run: Run, **row: object) -> str:
    base = {
        "task": "replace", "interval_hours": 120.0, "interval_days": 49.0, "clock": "hours",
        "probability_it_pays": 0.9, "can_hurt": "",
    }  # fmt: skip
    return interval_words(records(pd.DataFrame([base | row]))[0], facts_of(run))


def tree(html: str) -> ET.Element:
    return ET.fromstring(html)


def test_an_interval_is_said_in_meter_and_calendar(run: Run):
    assert words(run) == "replace at 120 h (7 weeks)"
    assert words(run, clock="days") == "replace at 7 weeks (120 h)"
    assert words(run, clock="") == "replace at 120 h or 7 weeks"
    assert words(run, task="inspect", interval_days=float("nan")) == "inspect each 120 h"
    assert words(run, task="run to failure") == "run to failure"


def test_a_look_not_worth_a_visit_is_done_whenever_the_machine_is_in(run: Run):
    look = {"task": "measure", "probability_it_pays": 0.1}
    assert words(run, **look) == "measure whenever in; 120 h (7 weeks) would catch most"
    # what can hurt keeps its date, and so does a starting value nobody has put money on
    assert words(run, **look, can_hurt="fire") == "measure each 120 h (7 weeks)"
    unknown = look | {"probability_it_pays": float("nan")}
    assert words(run, **unknown) == "measure each 120 h (7 weeks)"


def test_the_answer_counts_visits_soon_and_in_all(run: Run):
    visits = run.table("visit_plan")
    text = visit_answer(visits, facts_of(run))
    assert text.startswith("6 visits are due in the next 30 days, 14 visits up to 8 Jun 2026")
    assert "on 4 Apr 2026" in text
    assert visit_answer(visits.head(0), facts_of(run)) == "No visit is due within the horizon."


def test_next_visits_come_in_order_of_date(run: Run):
    rows = tree(section(run, "next visits").html).findall(".//tbody/tr/th")
    assert [r.text for r in rows][1:4] == ["TP-02", "TP-03", "TP-04"]
    assert len(rows) >= 5


def test_intervals_in_short_have_a_column_for_each_duty_and_say_what_they_stand_on(run: Run):
    table = tree(section(run, "intervals in short").html).find(".//table")
    assert [th.text.strip() for th in table.findall("thead/tr/th")][1:] == list(DUTIES)
    rows = {r.find("th").text: r for r in table.findall("tbody/tr")}
    assert list(rows) == ["ignition cap", "carburetor", "air filter"]
    cell = "".join(rows["air filter"].findall("td")[0].itertext())
    assert cell.startswith("replace at 35\u00a0h")
    assert "inspect each 7\u00a0h" in cell
    assert "9 failures, pooled" in cell


def test_every_interval_is_listed_with_its_sentence(run: Run):
    rows = tree(section(run, "all intervals").html).findall(".//tbody/tr")
    assert len(rows) == len(run.table("intervals"))
    assert all(r.find("td[@class='wide']") is not None for r in rows)


def test_what_can_hurt_is_listed_and_never_run_to_failure(run: Run):
    html = section(run, "what can hurt").html
    assert "drive belt" in html
    assert "air filter" not in html
    assert "run to failure" not in html.replace("Never run to failure", "")


def test_savings_come_with_the_curve_and_its_words(run: Run):
    told = tree(section(run, "what it saves").html)
    drawn = told.findall(".//figure/img")
    assert len(drawn) == 3
    assert all("any age from" in i.get("alt") for i in drawn)
    # money first; costs counted in planned replacements are not mixed into it
    assert all("EUR per 1000\u00a0h" in li.text for li in told.findall(".//li"))


def test_cautions_defer_to_the_makers_manual(run: Run):
    told = section(run, "cautions")
    assert "maker's manual" in told.text
    assert "licensed" in told.text
    assert tree(told.html).findall(".//li").__len__() == len(CAUTIONS) >= 12


def with_intervals(run: Run, folder: Path, **columns: list[object]) -> Run:
    """The made run with other intervals, a row for each value."""
    shutil.copytree(run.folder, folder)
    rows = run.table("intervals").iloc[: len(next(iter(columns.values())))].assign(**columns)
    write_csv("intervals", rows, folder)
    return open_run(folder)


def test_cautions_are_those_of_parts_that_are_there(run: Run, tmp_path: Path):
    def told(name: str, *components: str) -> set[str]:
        of = with_intervals(
            run, tmp_path / name, component=list(components), can_hurt=[""] * len(components)
        )
        items = tree(section(of, "cautions").html).findall(".//li")
        return {item.text.split(". ")[0] for item in items}

    dry = told("dry", "ignition cap", "air filter")
    assert {"Ignition shock", "Silica dust"} <= dry
    # what every workshop has stands always; what needs a part that isn't there does not
    assert {"Carbon monoxide", "Compressed air"} <= dry
    assert not {"Water jet", "Pressure vessel", "Electricity", "Used oil"} & dry
    assert "Used oil" in told("oil", "ignition cap", "engine oil")
    # a part whose place isn't known may be anything
    assert len(told("unknown", "ignition cap", "flux widget")) == len(CAUTIONS)


def test_a_look_beside_no_timed_change_is_no_contradiction(run: Run, tmp_path: Path):
    of = with_intervals(
        run, tmp_path / "run", component=["carburetor"] * 3, duty=["a", "a", "b"],
        task=["clean", "run to failure", "run to failure"], clock=["days"] * 3,
        interval_days=[266.0, np.nan, np.nan], interval_hours=[189.0, np.nan, np.nan],
        probability_it_pays=[0.9, 0.0, 0.0], can_hurt=[""] * 3,
    )  # fmt: skip
    row = tree(section(of, "intervals in short").html).find(".//tbody/tr")
    both, alone = ["".join(td.itertext()) for td in row.findall("td")]
    assert both.startswith("clean each 9 months (189\u00a0h)replace when it fails")
    assert "run to failure" not in both
    assert alone.startswith("run to failure")


def test_a_row_without_money_says_why(run: Run, tmp_path: Path):
    of = with_intervals(
        run, tmp_path / "run", basis=["starting value", "pooled", "pooled"],
        cost_per_1000_hours=[np.nan, np.nan, 70.0],
    )  # fmt: skip
    rows = tree(section(of, "all intervals").html).findall(".//tbody/tr")
    money = ["".join(r.findall("td")[3].itertext()) for r in rows]
    assert money[:2] == ["not costed: a starting value", "not costed: see why"]
    assert money[2].startswith("70")


def test_the_task_choice_stands_with_its_evidence_and_cautions(run: Run):
    told = section(run, "task choice")
    page = tree(told.html)
    rows = page.findall(".//tbody/tr")
    asked = run.table("task_choice")
    assert len(rows) == asked["decides"].sum() > 0
    first = "".join(rows[0].itertext())
    assert "replace (by age)" in first
    assert "Wear-out: can work, worth it; 9 failures in 20 lives" in first
    # the lines of the cautions named, each once, in words
    assert [li.text.split(".")[0] for li in page.findall(".//li")] == ["Unexpected start", "Fire"]
    assert "maker's manual" in told.text
