"""What moved since last month: the sentence first, every share told, text of data escaped."""

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from made_run import BAD, write_csv

from dutylife.provenance import Run, open_run
from dutylife.reports import moved_answers, section


def rows(part: str, what: str, before: float, *causes: tuple[str, float]) -> list[dict]:
    after, at, out = before + sum(c for _, c in causes), before, []
    for number, (cause, change) in enumerate(causes, 1):
        out.append(
            {"recommendation": what, "subject": part, "part_number": part, "cause": cause,
             "cause_order": number, "moved_unit": "pieces", "value_before": before,
             "value_after": after, "cause_before": at, "cause_after": at + change,
             "cause_change": change, "cause_evidence": f"2 failures {BAD}"}
        )  # fmt: skip
        at += change
    return out


@pytest.fixture
def moved_run(run: Run, tmp_path: Path) -> Run:
    """The made run with an earlier month."""
    folder = Path(shutil.copytree(run.folder, tmp_path / "run"))
    info = json.loads((folder / "run.json").read_text())
    info["history"] = {"before": {"as_of": "2026-02-28", "name": "x", "digest": "ab"},
                       "taken_up": None}  # fmt: skip
    (folder / "run.json").write_text(json.dumps(info))
    moved = [
        *rows("P-100", "order-up-to level", 4.0, ("new exposure", -1.0), ("new failures", 3.0)),
        *rows("P-100", "order now", 1.0, ("shelf", 2.0)),
        *rows("P-101", "order-up-to level", 3.0, ("parts used", -1.0)),
    ]
    ends = {"recommendation": "interval", "subject": f"air filter {BAD}: replace",
            "component": "air filter", "duty": "landscape", "task": "replace",
            "cause": "new failures", "cause_order": 5, "moved_unit": "days",
            "value_before": 90.0, "cause_before": 90.0,
            "cause_evidence": "1 failure here"}  # fmt: skip
    write_csv("moved", pd.DataFrame([*moved, ends]), folder)
    change = {"table": "service_lines", "change": "changed", "row_key": "a",
              "changed_column": "unit_id", "was": BAD, "is_now": "TP-02",
              "happened_on": "2025-11-03", "ticket": "J1", "source_file": "lines.csv",
              "source_row": 7}  # fmt: skip
    write_csv("record_changes", pd.DataFrame([change]), folder)
    score = {"as_of": "2026-02-28", "from_date": "2026-03-01", "months": 1.0,
             "method": "forecast", "p50": 1.0, "p80": 2.0, "p95": 3.0,
             "pinball_loss": 0.1}  # fmt: skip
    write_csv(
        "forecast_scores",
        pd.DataFrame(
            [score | {"part_number": "P-100", "asked": 5.0, "under_p80": 0, "under_p95": 0},
             score | {"part_number": "P-101", "asked": 1.0, "under_p80": 1, "under_p95": 1}]
        ),
        folder,
    )  # fmt: skip
    return open_run(folder)


def test_the_stock_page_says_first_how_many_levels_changed(moved_run: Run):
    found = section(moved_run, "what moved")
    n = len(moved_run.table("stock_plan"))
    assert found.answer == (
        f"Since 28 Feb 2026 2 of {n} levels changed: P-100 from 4 to 6, P-101 from 3 to 2."
    )
    assert "parts ran on −1, new failures +3" in found.html
    assert "shelf and parts list +2" in found.html


def test_an_interval_that_ends_is_said_in_words(moved_run: Run):
    html = section(moved_run, "what moved and why").html
    assert "new failures (ends)" in html
    assert "In another order the shares would be others" in html


def test_text_of_data_is_escaped(moved_run: Run):
    for name in ("what moved", "what moved and why", "last forecast"):
        assert "<script>alert" not in section(moved_run, name).html


def test_the_past_that_changed_stands_on_the_page(moved_run: Run):
    found = section(moved_run, "what moved and why")
    assert "Of the past up to 28 Feb 2026, 1 row read otherwise: 1 changed." in found.text
    assert "lines.csv, row 7" in found.html


def test_the_last_forecast_is_told_against_what_came(moved_run: Run):
    found = section(moved_run, "last forecast")
    assert found.answer == (
        "Of the month after 28 Feb 2026: 1 of 2 parts stayed within what 8 months in 10 were "
        "forecast to need, and 1 part went beyond what 19 in 20 were."
    )
    assert "P-100" in found.html
    assert "P-101" not in found.html


@pytest.mark.parametrize("name", ["what moved", "what moved and why", "last forecast"])
def test_a_first_month_says_so(run: Run, name: str):
    assert "kept month" in section(run, name).text or "No earlier month" in section(run, name).text


def test_the_terminal_gets_one_sentence_or_none(moved_run: Run):
    tables = {n: moved_run.table(n) for n in ("moved", "stock_plan", "intervals")}
    (said,) = moved_answers(tables, moved_run.info["history"])
    assert said.startswith("Since 28 Feb 2026 2 of ")
    assert said.endswith("changed, 1 of them by a tenth or more")
    assert moved_answers(tables, {"before": None}) == []
