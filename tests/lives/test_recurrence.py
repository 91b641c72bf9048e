"""Gaps between events of a component on a machine."""

from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

from dutylife.lives import recurrence_gaps
from dutylife.models import kaplan_meier
from dutylife.schema import as_table


def test_gaps_drop_repeats_on_a_day_and_end_at_the_last_line(made: SimpleNamespace) -> None:
    events = made.events(
        ("A", "hose", "2020-01-01", "repair", "failure"),
        ("A", "hose", "2020-01-01", "inspect", "preventive"),
        ("A", "hose", "2020-01-11", "clean", "opportunistic"),
        ("B", "hose", "2020-02-01", "replace", "failure"),
    )
    last = pd.Series(pd.to_datetime(["2020-03-01", "2020-02-01"]), index=["A", "B"])
    gaps = recurrence_gaps(events, last)
    assert gaps["gap_days"].tolist() == [10.0, 50.0, 0.0]
    assert gaps["is_event"].tolist() == [True, False, False]


@pytest.mark.shared
@pytest.mark.parametrize(
    ("word", "n", "n_events", "median", "at_30", "at_180"),
    [("hose", 361, 356, 17.0, 0.282, 0.031), ("batter", 18, 13, 616.0, 0.944, 0.826)],
)
def test_excavator_orders_give_the_known_answers(
    shared: Path, word: str, n: int, n_events: int, median: float, at_30: float, at_180: float
) -> None:
    """Known answers: README of the data set (days between orders, counted twice there)."""
    orders = pd.read_csv(shared / "data/excavator_work_orders/excavator_work_orders.csv")
    orders["event_date"] = pd.to_datetime(orders["BscStartDate"])
    chosen = orders[orders["OriginalShorttext"].str.lower().str.contains(word)]
    keyed = {
        "unit_id": chosen["Asset"],
        "component": word,
        "event_date": chosen["event_date"],
        "activity": "repair",
        "reason": "failure",
        "ticket": chosen["id"].astype(str),
    }
    gaps = recurrence_gaps(
        as_table("maintenance_events", pd.DataFrame(keyed)),
        orders.groupby("Asset")["event_date"].max(),
    )
    curve = kaplan_meier(gaps["gap_days"], gaps["is_event"])
    assert (len(gaps), int(gaps["is_event"].sum())) == (n, n_events)
    assert curve.median() == median
    assert curve.survival_at([30, 180]) == pytest.approx([at_30, at_180], abs=5e-4)
