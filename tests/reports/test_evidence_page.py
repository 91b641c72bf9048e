"""The analyst's page: rows accounted for, faults first, laws with evidence, recurrence."""

import xml.etree.ElementTree as ET
from pathlib import Path

import made_run
import numpy as np
import pandas as pd
import pytest

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import section
from dutylife.reports.evidence import law_sections
from dutylife.reports.evidence.evidence_page import rows_answer
from dutylife.reports.evidence.recurrence import gap_summary, median_days


def cells(html: str) -> list[list[str]]:
    return [
        ["".join(c.itertext()).strip() for c in row]
        for row in ET.fromstring(html).findall(".//tbody/tr")
    ]


def test_rows_in_are_used_plus_set_aside(run: Run):
    told = section(run, "rows")
    assert cells(told.html)[-1] == ["all files", "", "1\u202f262", "1\u202f202", "60"]


def test_the_first_screen_answers_before_any_table(run: Run, monkeypatch: pytest.MonkeyPatch):
    told = section(run, "evidence in short")
    assert told.answer == "1 262 rows in = 1 202 used + 60 set aside."
    lines = ["".join(li.itertext()) for li in ET.fromstring(told.html).findall(".//li")]
    for name in ("findings", "not understood", "law checks", "assumptions"):
        assert wording.unbroken(section(run, name).answer) in lines

    def broken(_: Run) -> None:
        raise ValueError("no such thing")

    monkeypatch.setattr(law_sections, "law_checks", broken)
    fewer = ET.fromstring(section(run, "evidence in short").html).findall(".//li")
    assert len(fewer) == len(lines) - 1


def test_a_row_that_vanished_is_called_a_fault():
    assert "3 not accounted for" in rows_answer(100, 90, 7)


def test_faults_and_questions_come_first(run: Run):
    told = section(run, "findings")
    assert told.answer == "2 findings need a person; 2 notes."
    assert [row[0] for row in cells(told.html)] == ["fault", "question for you", "note", "note"]


def test_most_frequent_text_not_understood_first(run: Run):
    told = section(run, "not understood")
    assert told.answer == "2 texts on 9 lines were not understood."
    assert [row[1] for row in cells(told.html)] == ["7", "2"]


def test_a_law_shows_lives_failures_range_unit_and_basis(run: Run):
    rows = cells(section(run, "life models").html)
    assert len(rows) == 15
    first = rows[0]
    assert first[:2] == ["air filter", "dry cutting"]
    assert "14 lives" in first[2]
    assert "9 failed" in first[2]
    assert first[4] == "21.4 to 2.9"  # value, below it the range
    assert first[5] == "70\u00a0h56 to 91\u00a0h"
    assert "pooled" in first[6]


def test_reasons_set_aside_are_counted(run: Run):
    assert cells(section(run, "set aside").html)[0][:3] == ["duplicate", "60", "0"]


def test_recurrence_says_why_it_differs_from_the_lives(run: Run):
    text = section(run, "recurrence").text
    for why in ("every event counts", "within 30 days", "install date", "planned changes"):
        assert why in text


def test_settings_versions_digests_and_timings_are_there(run: Run):
    html = section(run, "provenance").html
    for what in ("20260101", "ab" * 32, "version of pandas", "exports 1.path", "reading exports"):
        assert what in html


def test_median_gap_equals_the_product_limit_of_models():
    from dutylife.models.curves import kaplan_meier

    random = np.random.default_rng(3)
    for n in (1, 4, 9, 30):
        days = np.ceil(random.exponential(60, n))
        came = random.random(n) < 0.6
        expected = kaplan_meier(days, came).median() if came.any() else np.nan
        assert median_days(days, came) == pytest.approx(expected, nan_ok=True), (days, came)


def test_machines_still_waiting_are_not_left_out():
    gaps = pd.DataFrame(
        {
            "unit_id": ["a", "b", "c", "d"], "component": "belt",
            "gap_days": [10.0, 20.0, 200.0, 200.0], "is_event": [True, True, False, False],
        }
    )  # fmt: skip
    row = gap_summary(gaps).iloc[0]
    assert row["n_events"] == 2
    assert row["n_units"] == 4
    assert row["median_days"] == 20.0  # half have come again by then; the mean of events is 15


def test_trends_with_the_age_of_machines_are_told_first_and_drawn(run: Run):
    told = section(run, "events with age")
    assert told.answer.startswith("2 of 3 pairs of component and duty show a trend")
    rows = cells(told.html)
    assert [row[5] for row in rows[:3]] == ["0.012", "0.012", "0.4"]
    assert rows[-1][5] == ""  # too few: no chance is made up
    assert rows[0][8] == "1.6 (1.1 to 2.2)"
    for why in ("new start", "false discovery", "No interval goes by this table"):
        assert why in told.text
    # both flagged pairs, by the machine's age and by calendar time
    assert told.html.count("<figure>") == 4


def test_laws_that_do_not_hold_are_told_first(run: Run):
    told = section(run, "law checks")
    n_few = len(run.table("life_models")) - 3
    assert (
        told.answer
        == f"Of 3 laws tested 1 does not hold; {n_few} more have too few failures to test."
    )
    rows = cells(told.html)
    assert [row[4] for row in rows] == ["0.001", "0.3", "0.6"]
    assert rows[0][5] == "0.003"
    assert "taken with care" in told.text


def test_a_maker_whose_parts_differ_is_named_with_range_and_chance(run: Run):
    told = section(run, "part makers")
    assert "carburetor, south works: its parts last so" in told.answer
    rows = {row[1]: row for row in cells(told.html)}
    assert rows["south works"][4:7] == ["0.5", "0.4 to 0.6", "0.001"]
    assert next(r for name, r in rows.items() if name != "south works")[5] == "1.6 to no bound"


def test_without_makers_the_record_keeping_that_would_tell_is_named(tmp_path: Path):
    folder = made_run.make_run(tmp_path / "run")
    table = folder / "tables" / "part_makers.csv"
    table.write_text(table.read_text("utf-8").splitlines()[0] + "\n", encoding="utf-8")
    calm = section(folder, "part makers")
    assert "part_maker" in calm.text
    assert "No component has parts of two makers" in calm.answer


def test_a_mean_curve_shows_its_steps_and_range(run: Run):
    from matplotlib.figure import Figure

    from dutylife.reports.evidence.events_with_age import draw_mean_events

    axes = Figure().subplots()
    rows = run.table("recurrence_curves").query("counted_by == 'calendar'").iloc[:8]
    alt = draw_mean_events(axes, rows, "calendar", 0.9)
    assert "0.8 failures on average by day 800" in alt
    assert axes.get_xlabel().endswith("[days]")
    assert [list(x.get_ydata()[1:]) for x in axes.lines] == [
        list(rows[c]) for c in ("mean_events_lower", "mean_events_upper", "mean_events")
    ]
