"""What a field would have added: computed from the lives, against figures worked by hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_run import write_csv

from dutylife.provenance import Run, open_run
from dutylife.reports.evidence.data_slip import gains, slip_section, write_data_slip


def life(**own: object) -> dict:
    return {
        "component": "air filter", "position": "", "spell": 1, "life_number": 1, "duty": "yard",
        "event": "failed", "exit_days": 100.0, "entry_days": 0.0, "exit_hours": 200.0,
        "entry_hours": 0.0, "age_se_hours": 1.0, "clock_source": "meter", "weight": 1.0,
        "is_comeback": False,
    } | own  # fmt: skip


@pytest.fixture
def small(tmp_path: Path, run: Run) -> Run:
    """4 failures count in hours, one by half; 5 more have days only; a law by itself."""
    (tmp_path / "tables").mkdir()
    (tmp_path / "run.json").write_text((run.folder / "run.json").read_text())
    lives = [life(unit_id=f"M-{n}") for n in range(3)] + [life(unit_id="M-3", weight=0.5)]
    lives += [
        life(unit_id=f"N-{n}", exit_hours=None, entry_hours=None, age_se_hours=None,
             clock_source="estimated")
        for n in range(5)
    ]  # fmt: skip
    lives += [life(unit_id="P", clock_source="unknown", exit_hours=None, exit_days=None)]
    model = {
        "component": "air filter", "duty": "yard", "clock": "hours", "distribution": "weibull",
        "shape": 2.0, "n_lives": 10, "n_failed": 4, "own_data_share": 1.0, "basis": "pooled",
        "verdict": "Not enough evidence",
    }  # fmt: skip
    rows = [model, model | {"duty": "quay", "n_failed": 30}, model | {"duty": "park"}]
    write_csv("failure_events", pd.DataFrame(lives), tmp_path)
    write_csv("life_models", pd.DataFrame(rows), tmp_path)
    write_csv("readings", pd.DataFrame(), tmp_path)
    return open_run(tmp_path)


def test_what_hours_and_reasons_would_add(small: Run):
    table = gains(small).set_index("duty")
    assert set(table.index) == {"yard", "park"}  # 30 failures are enough
    yard = table.loc["yard"]
    assert yard["n_without_hours"] == 5  # of the part of unknown age hours would not help
    assert yard["n_unsure"] == 1
    # 3.5 failures count; with 5 more 8.5: the width goes by the root
    assert yard["narrower_hours"] == pytest.approx(1 - np.sqrt(3.5 / 8.5))
    # of 3.5 failures' information a quarter is missing
    assert yard["narrower_reason"] == pytest.approx(1 - np.sqrt(3.25 / 3.5))
    assert table.loc["park", ["narrower_hours", "narrower_reason"]].isna().all()


def test_a_law_that_is_all_borrowed_gains_nothing(small: Run):
    models = small.table("life_models").assign(own_data_share=0.0)
    write_csv("life_models", models, small.folder)
    yard = gains(small).set_index("duty").loc["yard"]
    assert yard["narrower_hours"] == pytest.approx(0.0)


def test_the_section_says_how_many_lack_evidence(small: Run):
    section = slip_section(small)
    assert section.answer.startswith("2 of 3 answers on how long a component lasts")
    assert "fewer than 10 failures of their own; 2 of them" in section.answer
    assert "36\u00a0%" in section.html
    assert "park" not in section.html  # nothing to gain there that can be computed


def test_where_no_gain_can_be_computed_it_says_so_and_shows_no_table(small: Run):
    models = small.table("life_models").assign(own_data_share=0.0)
    write_csv("life_models", models, small.folder)
    section = slip_section(small)
    assert "No gain can be computed" in section.html
    assert "<table" not in section.html


def test_the_slip_has_the_fields(small: Run):
    page = write_data_slip(small.folder).read_text(encoding="utf-8")
    for field in (
        "hours on the meter",
        "reading as found",
        "Was it the cause",
        "failed",
        "by the plan",
    ):
        assert field in page
