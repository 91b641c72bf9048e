"""The weeks ahead at the bench as a section: what stands in its first sentence, table, figure."""

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from made_run import AS_OF, BAD, make_run, write_csv

from dutylife.provenance import open_run
from dutylife.reports.sections import section
from dutylife.reports.stock.bench_load import bench_answer, draw_weeks
from dutylife.stock.bench.arrivals import ALL


def weeks(machines: list[float], hours: list[float] | None = None, stated: float = np.nan,
          loaners: float = np.nan, name: str = ALL) -> pd.DataFrame:  # fmt: skip
    n = len(machines)
    low = np.array(machines)
    work = np.full(n, np.nan) if hours is None else np.array(hours)
    first = pd.Timestamp(AS_OF) + pd.Timedelta(days=6)
    return pd.DataFrame(
        {
            "from_date": pd.date_range(first, periods=n, freq="7D"), "equipment_class": name,
            "machines_mean": low, "machines_planned": 0.0, "machines_p10": low - 3,
            "machines_p50": low, "machines_p90": low + 5, "labour_hours_p50": work,
            "labour_hours_p90": work + 8, "workshop_hours": stated, "loaners_p90": loaners,
        }
    )  # fmt: skip


def test_the_week_is_told_in_plain_words():
    text = bench_answer(weeks([14.0] * 8, [38.0] * 8, 60.0, 3.0))
    assert text == (
        "Week of 6 Apr 2026: about 14 machines, 9 in 10 such weeks at most 19; about 38 h of "
        "work, at most 46 h, of the workshop's 60 h; 3 loaners."
    )


def test_hours_over_the_workshops_come_first():
    over = bench_answer(weeks([14.0] * 8, [38.0] * 5 + [61.0] * 3, 60.0))
    assert over.startswith("More work than the workshop's 60 h in 3 weeks of the 8 ahead")
    assert "first in the week of 11 May 2026" in over
    may = bench_answer(weeks([14.0] * 8, [38.0] * 7 + [55.0], 60.0))
    assert may.startswith("In 1 week of the 8 ahead the work may go over the workshop's 60 h")


def test_a_rush_is_told_and_a_level_year_has_none():
    rush = bench_answer(weeks([8.0] * 5 + [16.0] + [8.0] * 5))
    assert "A rush is seen ahead: week of 11 May 2026: about 16 machines" in rush
    assert "rush" not in bench_answer(weeks([8.0, 9.0] * 5))


@pytest.mark.parametrize("hours", [None, [38.0] * 30])
def test_the_figure_says_what_it_shows(hours: list[float] | None):
    _, axes = plt.subplots()
    alt = draw_weeks(axes, weeks([14.0] * 30, hours, 60.0))
    plt.close()
    assert ("h a week" in alt) == (hours is not None)
    assert "machines" in alt.lower()
    assert "6 Apr 2026" in alt
    has_line = any("workshop" in str(line.get_label()) for line in axes.lines)
    assert has_line == (hours is not None)


def test_the_section_escapes_classes_and_leaves_out_what_is_not_known(tmp_path: Path):
    folder = make_run(tmp_path)
    both = pd.concat([weeks([14.0] * 8), weeks([5.0] * 8, name=f"pump {BAD}")])
    write_csv("bench_forecast", both, folder)
    told = section(open_run(folder), "weeks ahead at the bench")
    html = told._repr_html_()
    assert "<script>alert" not in html
    assert "loaners" not in html
    assert "labour" not in html
    assert html.count("<figure>") == 1


def test_a_run_without_the_table_says_so(tmp_path: Path):
    told = section(open_run(make_run(tmp_path)), "weeks ahead at the bench")
    assert "no forecast of the bench" in told._repr_html_()
