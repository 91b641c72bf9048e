"""The plan page: what was kept, what stands beside today's schedule, looks with limit and tool."""

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_packs import OTHERS, planted, write_run

from dutylife.provenance import Run, open_run
from dutylife.reports import section
from dutylife.run_folder import write_tables
from dutylife.schema import as_table

TODAY = {"present_schedule": {"air filter": {"hours": 60.0}, "spark plug": {"hours": 246.0},
                              "ignition cap": {"months": 12.0}}}  # fmt: skip


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Renewals at 123 h; today's schedule at 60, 246 h and 12 months."""
    return open_run(write_run(tmp_path_factory.mktemp("plan") / "run", TODAY))


def rows(html: str) -> list[list[str]]:
    page = ET.fromstring(html)
    return [
        [" ".join("".join(c.itertext()).split()) for c in row]
        for row in page.findall(".//tbody/tr")
    ]


def test_without_a_history_one_line_says_how_to_get_it(run: Run):
    told = section(run, "kept since")
    assert told.answer == ""
    assert "first month that is kept" in told.text
    assert len(told.sentences) == 1


def test_what_was_skipped_stands_with_what_failed_meanwhile(planned: Run):
    told = section(planned, "kept since")
    n = sum(len(units) for units in OTHERS.values())
    assert f"Of {n} planned tasks that fell due since 28 Feb 2026: {n} skipped" in told.answer
    assert f"{n} parts failed while the work was late or not done" in told.answer
    first = rows(told.html)[0]
    assert first[2:] == ["20 Mar 2026", "replace air filter", "skipped", "25 Mar 2026"]


def test_tasks_of_a_visit_that_met_the_same_fate_are_one_row(tmp_path: Path):
    folder = write_run(tmp_path / "run", {})
    kept = [
        {"unit_id": "QX-71", "customer": "A", "due_on": "2026-03-20", "component": c,
         "task": "replace", "kept": "skipped"}
        for c in ("air filter", "spark plug", "fuel filter")
    ]  # fmt: skip
    kept[2] |= {"failed_on": pd.Timestamp("2026-03-28")}
    frame = pd.DataFrame(kept)
    frame["due_on"] = pd.to_datetime(frame["due_on"])
    write_tables({"visits_kept": as_table("visits_kept", frame)}, folder / "tables")
    told = rows(section(open_run(folder), "kept since").html)
    assert [r[3] for r in told] == ["replace fuel filter", "replace air filter, replace spark plug"]


def test_each_interval_stands_beside_the_present_schedule(planned: Run):
    told = section(planned, "beside present")
    by_part = {(r[0], r[1]): r for r in rows(told.html)}
    assert by_part["air filter", "wet"][2:4] == ["60 h", "replace at 123 h (11 weeks)"]
    assert by_part["air filter", "wet"][4].startswith("later")
    assert "2 times as long" in " ".join(by_part["air filter", "wet"][4].split())
    assert by_part["spark plug", "far"][4] == "sooner by 50 %"
    assert told.answer.endswith("sooner 2, later 2.")
    assert "Not in this record: ignition cap." in told.text
    assert "9 chances in 10" in by_part["air filter", "wet"][5]


def test_no_present_schedule_is_said(run: Run):
    told = section(run, "beside present").answer
    assert "No schedule of today is stated; with it in the settings" in told


def test_looks_stand_with_reading_limit_tool_and_caution(tmp_path: Path):
    looks = [
        {"component": "spark plug", "duty": "wet", "task": "inspect", "interval_hours": 50.0,
         "interval_days": 30.0, "clock": "hours", "n_failed": 3, "basis": "pooled"},
        {"component": "fuel hose and clamps", "duty": "wet", "task": "inspect",
         "interval_days": 200.0, "clock": "days", "n_failed": 3, "basis": "pooled",
         "can_hurt": "fire"},
    ]  # fmt: skip
    made = as_table("intervals", pd.DataFrame(looks))
    folder = write_run(tmp_path / "run", {}, intervals=made)
    told = {r[0]: r for r in rows(section(open_run(folder), "on condition").html)}
    plug = told["inspect spark plug"]
    assert "electrode gap: 0.7 to 0.8 mm" in plug[2]
    assert "outside 0.6 to 0.9 mm" in plug[3]
    assert plug[4] == "feeler gauge"
    assert "no flame or spark" in told["inspect fuel hose and clamps"][5]


def test_the_shops_page_links_every_pack(planned: Run):
    from urllib.parse import unquote

    from dutylife.reports import write_customer_packs

    told = section(planned, "customer packs")
    links = [a.get("href") for a in ET.fromstring(told.html).iter("a")]
    packs = write_customer_packs(planned.folder)
    assert {unquote(link) for link in links} == {
        f"customers/{path.name}/maintenance.html" for path in packs.values()
    }
    assert all((planned.folder / unquote(link)).is_file() for link in links)
    assert set(planned.table("machine_tasks")["customer"]) == set(packs) == set(OTHERS)
    assert len(planted()["visit_plan"]) > len(packs)


def test_a_saving_is_told_with_its_range(tmp_path: Path):
    one = planted()["intervals"].assign(
        cost_per_1000_hours=70.0, cost_per_1000_hours_run_to_failure=100.0
    )
    curve = pd.DataFrame(
        [{"component": "air filter", "duty": "wet", "age": 10.0 * n, "clock": "hours",
          "cost_per_1000_hours": 80.0, "cost_per_1000_hours_lower": 70.0,
          "cost_per_1000_hours_upper": 90.0} for n in range(1, 9)]
    )  # fmt: skip
    folder = write_run(
        tmp_path / "run", {}, intervals=one, cost_curves=as_table("cost_curves", curve)
    )
    told = section(open_run(folder), "what it saves").html
    assert "saves 30 EUR (20 to 40) per 1000\u00a0h" in told


def test_why_an_age_differs_from_todays_is_told_by_who_fails_and_what_it_saves():
    from math import gamma
    from types import SimpleNamespace

    from scipy.integrate import quad

    from dutylife.reports.maintenance.present_schedule import against_today
    from dutylife.settings import PresentSchedule

    mean = 400.0 * gamma(1.5)
    laws = pd.DataFrame(
        {"component": ["belt"], "duty": ["yard"], "distribution": ["weibull"], "clock": ["hours"],
         "shape": [2.0], "scale_hours": [400.0], "scale_days": [np.nan], "mean_life_hours": [mean]}
    )  # fmt: skip
    row = SimpleNamespace(
        component="belt", duty="yard", task="replace", interval_hours=250.0, interval_days=np.nan,
        cost_per_1000_hours_run_to_failure=120.0 / mean * 1000, cost_ratio=6.0,
    )  # fmt: skip
    today = PresentSchedule(hours=100.0, months=12.0)

    def rate(age):  # 120 a failure, 20 planned
        lived = quad(lambda t: np.exp(-((t / 400) ** 2)), 0, age)[0]
        failed = 1 - np.exp(-((age / 400) ** 2))
        return (120 * failed + 20 * (1 - failed)) / lived

    # 20 hours a week: 100 h come before a year does
    found = against_today(row, today, laws, 20.0)
    assert found.before_today == pytest.approx(1 - np.exp(-1 / 16))
    assert found.before_advised == pytest.approx(1 - np.exp(-((250 / 400) ** 2)))
    saved = (rate(100) - rate(250)) * 20 * 365.25 / 7
    assert found.saved_a_year == pytest.approx(saved, rel=1e-6)
    # 1 hour a week: the year comes first, at 52 hours
    found = against_today(row, today, laws, 1.0)
    assert found.before_today == pytest.approx(1 - np.exp(-((365.25 / 7 / 400) ** 2)), rel=1e-3)
    assert against_today(row, today, laws.assign(distribution="lognormal"), 20.0) is None
    assert against_today(row, PresentSchedule(months=12.0), laws, None) is None
    row.cost_ratio = np.nan
    assert against_today(row, today, laws, 20.0).saved_a_year is None
