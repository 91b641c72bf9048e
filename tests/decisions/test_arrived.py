"""Machines that came new without a day of entering service."""

import numpy as np
import pandas as pd
import pytest

from dutylife.decisions.arrived import came_new_on
from dutylife.schema import as_table

RECORD = pd.Timestamp("2022-01-01")


def units(rows):
    table = pd.DataFrame(rows, columns=["unit_id", "in_service_on", "first_seen"])
    return as_table("units", table)


def old(n):
    """Machines older than the record, seen within its first half year."""
    return [
        (f"OLD-{i}", RECORD - pd.Timedelta(days=400 + i), RECORD + pd.Timedelta(days=6 * i))
        for i in range(n)
    ]


def new(n, start=400):
    """Machines that came within the record and were first seen 50 to 70 days later."""
    return [
        (f"NEW-{i}", RECORD + pd.Timedelta(days=start + 20 * i),
         RECORD + pd.Timedelta(days=start + 20 * i + 50 + 20 * (i % 2)))
        for i in range(n)
    ]  # fmt: skip


def undated(*days):
    return [(f"UN-{d}", pd.NaT, RECORD + pd.Timedelta(days=d)) for d in days]


def test_a_late_machine_without_a_day_came_new_a_usual_wait_before_its_first_visit():
    found = came_new_on(units(old(30) + new(12) + undated(5, 700)))
    assert pd.isna(found["UN-5"])
    wait = (RECORD + pd.Timedelta(days=700) - found["UN-700"]).days
    assert 50 <= wait <= 70
    assert found.drop("UN-700").isna().all()


def test_where_customers_bring_old_machines_nothing_is_said():
    was_new = RECORD - pd.Timedelta(days=900)
    brought = [(f"USED-{i}", was_new, RECORD + pd.Timedelta(days=400 + 30 * i)) for i in range(12)]
    assert came_new_on(units(old(30) + new(12) + brought + undated(700))).isna().all()


@pytest.mark.parametrize("n", [0, 7])
def test_too_few_dated_machines_tell_nothing(n):
    assert came_new_on(units(new(n) + undated(700, 900))).isna().all()


def test_order_of_rows_changes_nothing():
    rows = units(old(20) + new(12) + undated(300, 500, 700))
    mixed = rows.sample(frac=1.0, random_state=3)
    pd.testing.assert_series_equal(came_new_on(rows).sort_index(), came_new_on(mixed).sort_index())


def test_on_invented_machines_the_day_is_right_on_average():
    rng = np.random.default_rng(4)
    began = RECORD + pd.to_timedelta(rng.uniform(0, 1400, 400).round(), unit="D")
    seen = began + pd.to_timedelta(rng.exponential(60, 400).round(), unit="D")
    is_dated = rng.uniform(size=400) < 0.5
    rows = [
        (f"M{i:03d}", b if dated else pd.NaT, s)
        for i, (b, s, dated) in enumerate(zip(began, seen, is_dated, strict=True))
    ]
    found = came_new_on(units(old(40) + rows)).dropna()
    truth = pd.Series(dict(zip([r[0] for r in rows], began, strict=True)))
    off = (found - truth[found.index]).dt.days
    assert len(found) > 100
    assert abs(off.mean()) < 15  # a wait is 60 days long on average, of all lengths


def test_many_late_new_machines_do_not_outvote_the_old_ones_of_the_first_days():
    late = [(f"L{i:03d}", RECORD + pd.Timedelta(days=400 + 5 * i),
             RECORD + pd.Timedelta(days=450 + 5 * i)) for i in range(100)]  # fmt: skip
    found = came_new_on(units(old(11) + late + undated(4, 20, 800)))
    assert pd.isna(found["UN-4"])
    assert pd.isna(found["UN-20"])
    assert pd.notna(found["UN-800"])
