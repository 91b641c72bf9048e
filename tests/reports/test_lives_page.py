"""From a recommendation to its lives, from a life to its rows; one life on one sheet."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_run import BAD, write_csv

from dutylife.errors import RunError
from dutylife.provenance import Run, open_run
from dutylife.reports import one_life, section, write_lives_page
from dutylife.reports.evidence.lives_page import (
    anchor_of,
    left_out_words,
    lives_link,
    lives_with_rows,
)


def lives_of(rows: list[dict]) -> pd.DataFrame:
    blank = {
        "component": "air filter", "position": "", "spell": 1, "duty": "yard", "customer": "crew",
        "installed_on": "2024-01-02", "ended_on": "2024-06-02", "entry_hours": 0.0,
        "entry_days": 0.0, "exit_days": 100.0, "clock_source": "meter", "weight": 1.0,
        "age_se_hours": 0.5, "is_comeback": False,
    }  # fmt: skip
    return pd.DataFrame([blank | row for row in rows])


@pytest.fixture
def small(tmp_path: Path, run: Run) -> Run:
    """Like parts that failed at 50 and 80 h, lasted beyond 100, or can't tell."""
    (tmp_path / "tables").mkdir()
    (tmp_path / "run.json").write_text((run.folder / "run.json").read_text())
    lines = [
        {"line_id": f"id{n}", "source_file": "lines.csv", "source_row": 10 + n,
         "service_date": "2024-01-02", "line_kind": "part", "unit_id": "M-1",
         "ticket": "J1" if n < 2 else "J2", "work_done": f"renewed {BAD}"}
        for n in range(4)
    ]  # fmt: skip
    other = {"life_number": 1, "event": "failed"}
    write_csv("service_lines", pd.DataFrame(lines), tmp_path)
    write_csv(
        "failure_events",
        lives_of(
            [
                {"unit_id": "M-1", "life_number": 1, "event": "replaced", "exit_hours": 300.0,
                 "ticket": "J1", "line_ids": "id0;id1", "installed_on": None,
                 "clock_source": "unknown"},
                {"unit_id": "M-1", "life_number": 2, "event": "failed", "exit_hours": 100.0,
                 "ticket": "J2", "line_ids": "id3;id2"},
                other | {"unit_id": "M-2", "exit_hours": 50.0},
                other | {"unit_id": "M-3", "exit_hours": 80.0},
                other | {"unit_id": "M-4", "exit_hours": 140.0},
                other | {"unit_id": "M-5", "exit_hours": 120.0, "event": "running"},
                other | {"unit_id": "M-6", "exit_hours": 90.0, "event": "running"},
                other | {"unit_id": "M-7", "exit_hours": 900.0, "entry_hours": 400.0},
                other | {"unit_id": "M-8", "exit_hours": 10.0, "duty": "elsewhere"},
            ]
        ),
        tmp_path,
    )  # fmt: skip
    write_csv("readings", pd.DataFrame(), tmp_path)
    return open_run(tmp_path)


def test_each_end_of_a_life_names_its_rows(small: Run):
    lives = lives_with_rows(small).set_index(["unit_id", "life_number"])
    assert lives.loc[("M-1", 2), "began_rows"] == "lines.csv 10, 11"
    assert lives.loc[("M-1", 2), "ended_rows"] == "lines.csv 12, 13"
    assert lives.loc[("M-1", 2), "put_in_ticket"] == "J1"
    assert lives.loc[("M-1", 1), "began_rows"] == ""


def test_one_life_counts_those_that_can_tell(small: Run):
    """Longer: 140 and 120. Shorter: 50 and 80. 90 still running and one first seen at 400 can't."""
    sheet = one_life(small, "M-1", "air filter")
    assert "2 of 4 like parts in this duty have lasted longer." in sheet.answer
    assert "Fitted 2 Jan 2024; it failed on 2 Jun 2024 at an age of 100 h, 100 days" in sheet.answer
    assert "2 more were cut off before 100 h (or first seen after it)" in sheet.text
    # product limit: at 50 of 5 at risk, at 80 of 4: 4/5 x 3/4
    assert "60 % of like parts last longer" in sheet.text
    assert "lines.csv 12" in sheet.html
    assert "<script>alert" not in sheet.html


def test_a_life_that_is_not_there_tells_what_is(small: Run):
    with pytest.raises(RunError, match="no such life of 'rope' on 'M-1'") as caught:
        one_life(small, "M-1", "rope")
    assert "air filter" in caught.value.mend


def test_every_law_links_to_its_lives(run: Run, tmp_path: Path):
    import shutil

    folder = tmp_path / "run"
    shutil.copytree(run.folder, folder)
    page = write_lives_page(folder).read_text(encoding="utf-8")
    held = set(re.findall(r'id="(lives-[0-9a-f]+)"', page))
    html = section(run, "life models").html + section(run, "behind intervals").html
    html += section(run, "behind orders").html
    asked = set(re.findall(r'href="lives\.html#(lives-[0-9a-f]+)"', html))
    assert len(asked) >= 15
    assert asked <= held
    assert anchor_of("carburetor", "landscape") in asked
    assert "<script>alert" not in page
    assert str(lives_link("x", "y", BAD)).count("<") == 2


def test_ten_thousand_lives_make_a_small_page(run: Run, tmp_path: Path):
    import shutil

    folder = tmp_path / "run"
    shutil.copytree(run.folder, folder)
    n = 10_000
    many = lives_of([{"unit_id": "M", "life_number": 1, "event": "failed", "exit_hours": 1.0}])
    many = many.loc[np.zeros(n, int)].assign(
        unit_id=[f"M-{i:05d}" for i in range(n)], duty=[f"duty {i % 40}" for i in range(n)],
        line_ids="a;b;c",
    )  # fmt: skip
    write_csv("failure_events", many, folder)
    assert write_lives_page(folder).stat().st_size < 5e6


def test_lives_and_laws_add_up():
    lives = pd.DataFrame(
        {
            "clock_source": ["meter"] * 6 + ["unknown"] * 3,
            "is_comeback": [True] + [False] * 7 + [True],
        }
    )
    models = pd.DataFrame({"n_lives": [1, 3], "n_failed": [1, 1]})
    told = left_out_words(lives, models)
    # 9 lives = 4 used + 3 of unknown age (one a comeback too) + 1 comeback + 1 other
    assert told.startswith("The laws stand on 4 lives with 2 failures; left out of them: ")
    assert "3 lives of unknown age, 1 life that ended in a comeback, 1 life whose age" in told
    whole = left_out_words(lives[1:5], models)
    assert whole == "The laws stand on 4 lives with 2 failures: all of them."
