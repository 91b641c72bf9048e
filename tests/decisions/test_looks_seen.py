"""Warning times from what looks found, measuring intervals from the drift of readings."""

import numpy as np
import pandas as pd
import pytest

from dutylife.components import shipped_components
from dutylife.decisions import recommend_intervals
from dutylife.decisions.cells import Cell
from dutylife.decisions.looks import share_failing_before_look
from dutylife.decisions.looks_seen import delay_from_looks, looks_seen
from dutylife.decisions.measuring import measured_cells, measuring_interval
from dutylife.errors import DecisionError
from dutylife.models import path_model
from dutylife.schema import as_table

START = pd.Timestamp("2020-01-01")


def counted(random, delay, spacing, detection=1.0, n=4000):
    """Defects that arise evenly between looks; how many a look finds, how many fail before."""
    arises = random.uniform(0, spacing, n)
    fails = arises + random.exponential(delay, n)
    found = np.full(n, np.inf)
    for look in range(1, 60):
        here = (found == np.inf) & (fails > look * spacing) & (random.random(n) < detection)
        found[here] = look * spacing
    return int(np.isfinite(found).sum()), int(np.isinf(found).sum())


@pytest.mark.parametrize(
    ("delay", "spacing", "detection"), [(60, 30, 1.0), (20, 50, 1.0), (60, 30, 0.7)]
)
def test_the_delay_comes_back_from_what_looks_found(delay, spacing, detection):
    random = np.random.default_rng(1)
    found = delay_from_looks(
        *counted(random, delay, spacing, detection), spacing, detection=detection
    )
    assert found.mean == pytest.approx(delay, rel=0.1)
    assert found.lower < found.mean < found.upper


def test_its_range_holds_the_truth_nine_times_in_ten():
    random = np.random.default_rng(2)
    held, n = 0, 200
    for _ in range(n):
        seen = counted(random, 60.0, 40.0, n=40)
        told = delay_from_looks(*seen, 40.0)
        held += told.lower <= 60 <= told.upper
    assert 0.86 <= held / n <= 0.99


def test_nothing_found_or_nothing_failed_tells_no_delay():
    for found, failed in ((0, 9), (9, 0)):
        with pytest.raises(DecisionError, match="record what inspections find"):
            delay_from_looks(found, failed, 30.0)


def test_a_missed_defect_makes_the_same_count_a_longer_delay():
    perfect = delay_from_looks(30, 10, 30.0)
    blind = delay_from_looks(30, 10, 30.0, detection=0.6)
    assert blind.mean > perfect.mean
    share = share_failing_before_look(30.0, blind.mean, detection=0.6)[0]
    assert share == pytest.approx(0.25)


def record(rows):
    base = {"component": "drive belt (compactor)", "confidence": 1.0, "found_at_service": False}
    frame = pd.DataFrame([base | r for r in rows])
    frame["ticket"] = [f"T{i}" for i in range(len(frame))]
    frame["line_ids"] = [f"L{i}" for i in range(len(frame))]
    return as_table("maintenance_events", frame)


def test_looks_are_counted_by_duty_and_their_finds_over_all():
    look = {"activity": "inspect", "reason": "preventive"}
    rows = []
    for unit in ("A", "B"):
        for n in range(6):
            day = START + pd.Timedelta(days=30 * n)
            rows.append(look | {"unit_id": unit, "event_date": day, "finding": "ok"})
        late = START + pd.Timedelta(days=180)
        rows.append(look | {"unit_id": unit, "event_date": late, "finding": "worn"})
        rows.append(
            {"unit_id": unit, "event_date": late + pd.Timedelta(days=9), "activity": "replace",
             "reason": "failure", "finding": "failed"}
        )  # fmt: skip
    spans = as_table(
        "unit_spans",
        pd.DataFrame(
            {"unit_id": ["A", "B"], "from_date": START, "to_date": START + pd.Timedelta(days=999),
             "customer": "C", "duty": ["yard", "road"], "hours_per_week": 10.0}
        ),
    )  # fmt: skip
    seen = looks_seen(record(rows), spans)["drive belt (compactor)", "yard"]
    assert (seen.n_looks, seen.n_found, seen.n_failed, seen.spacing_days) == (7, 2, 2, 30)
    assert not seen.tells_delay  # two of each are too few


def drifting(random, n_parts=40, noise=0.01):
    """Readings as shares of the limit: from 0.4 up by 0.1 a hundred hours, each part its own."""
    rows = []
    for part in range(n_parts):
        drift = 0.001 * random.lognormal(0, 0.2)
        for age in np.arange(50.0, random.uniform(150, 450), 50):
            rows.append((part, age, 0.4 + drift * age + noise * random.normal()))
    return pd.DataFrame(rows, columns=["part", "age", "reading"])


def test_one_part_in_ten_reaches_its_limit_within_the_measuring_interval():
    """Counted on the true paths: of parts as they stand today, a tenth cross within the spacing."""
    random = np.random.default_rng(5)
    drift, last = 0.001 * random.lognormal(0, 0.2, 40), random.uniform(150, 500, 40)
    rows = [
        (p, age, 0.4 + drift[p] * age + 0.005 * random.normal())
        for p in range(40)
        for age in np.append(np.arange(50.0, last[p], 50), last[p])
    ]
    table = pd.DataFrame(rows, columns=["part", "age", "reading"])
    model = path_model(table["part"], table["age"], table["reading"], limit=1.0, direction="up")
    found = measuring_interval(model)
    left = 0.6 / drift - last
    under = left > 0
    reached = np.mean(left[under] <= found.interval)
    assert reached == pytest.approx(0.1, abs=0.06)
    assert found.n_over == pytest.approx((~under).sum(), abs=1)
    # a stricter share, a shorter spacing
    assert measuring_interval(model, share_over=0.01).interval < found.interval


def test_parts_that_never_drift_there_tell_no_interval():
    random = np.random.default_rng(6)
    table = drifting(random)
    flat = table.assign(
        reading=0.4 - 0.0001 * table["age"] + 0.001 * random.normal(size=len(table))
    )
    model = path_model(flat["part"], flat["age"], flat["reading"], limit=1.0, direction="up")
    with pytest.raises(DecisionError, match="starting spacing"):
        measuring_interval(model)


def cell_of(duty):
    empty = np.empty(0)
    return Cell(
        component=shipped_components()["generator brushes and slip rings"], duty=duty,
        severe=False, clock="hours", basis="starting value", shape=empty, scale=empty,
        weights=empty, longest_age=0.0, n_lives=0, n_failed=0, use_per_week=14.0,
    )  # fmt: skip


def readings_of(table):
    """Brush lengths that fall from 15 mm: a reading of 1 here is the 5 mm they may fall to."""
    day = START + pd.to_timedelta(table["age"], unit="D")
    return as_table(
        "readings",
        pd.DataFrame(
            {"unit_id": [f"M{p}" for p in table["part"]],
             "component": "generator brushes and slip rings", "position": None, "read_on": day,
             "moment": "as found", "reading_number": 1, "age_hours": table["age"],
             "age_days": table["age"], "quantity": "brush length", "value": table["value"],
             "unit": "mm", "over_range": False, "part_number": "BR-1",
             "line_id": [f"L{i}" for i in range(len(table))]}
        ),
    )  # fmt: skip


def test_only_a_cell_with_enough_readings_and_a_limit_is_spaced_by_them():
    random = np.random.default_rng(7)
    table = drifting(random)
    table["value"] = 15 - 10 * (table["reading"] - 0.4) / 0.6
    spans = as_table(
        "unit_spans",
        pd.DataFrame(
            {"unit_id": [f"M{p}" for p in range(40)], "from_date": START,
             "to_date": START + pd.Timedelta(days=999), "customer": "C", "duty": "yard",
             "hours_per_week": 10.0}
        ),
    )  # fmt: skip
    parts = pd.DataFrame({"part_number": ["BR-1"], "component": [None], "low_limit": [5.0],
                          "unit": ["mm"]})  # fmt: skip
    catalogue = as_table("catalogue", parts)
    known = shipped_components()
    cells = [cell_of("yard"), cell_of("road")]
    found = measured_cells(cells, readings_of(table), catalogue, spans, known, 1)
    assert set(found) == {("generator brushes and slip rings", "yard")}
    assert 20 < found["generator brushes and slip rings", "yard"].interval < 600
    bare = as_table("catalogue", parts.assign(low_limit=np.nan))
    assert measured_cells(cells, readings_of(table), bare, spans, known, 1) == {}
    few = table[table["part"] < 5]
    assert measured_cells(cells, readings_of(few), catalogue, spans, known, 1) == {}


def test_a_run_spaces_measurements_by_drift_and_says_so(make):
    """The same readings through the run: the row of the measurement, its reason, its chance."""
    random = np.random.default_rng(7)
    table = drifting(random)
    table["value"] = 15 - 10 * (table["reading"] - 0.4) / 0.6
    name = "generator brushes and slip rings"
    fleet = make(6)
    draws = fleet.life_draws[fleet.life_draws["component"] == "air filter"]
    models = fleet.life_models[fleet.life_models["component"] == "air filter"]
    renamed = {"component": name}
    spans = pd.DataFrame(
        {"unit_id": [f"M{p}" for p in range(40)], "from_date": START,
         "to_date": START + pd.Timedelta(days=999), "customer": "C", "duty": "harbour",
         "hours_per_week": 14.0}
    )  # fmt: skip
    parts = pd.DataFrame({"part_number": ["BR-1"], "low_limit": [5.0], "unit": ["mm"]})
    rows = recommend_intervals(
        as_table("life_draws", draws.astype({"component": object}).assign(**renamed)),
        as_table("life_models", models.astype({"component": object}).assign(**renamed)),
        fleet.failure_events.iloc[:0], fleet.service_lines, fleet.maintenance_events.iloc[:0],
        as_table("unit_spans", spans), fleet.settings, None, readings_of(table),
        as_table("catalogue", parts),
    )["intervals"].astype({"component": object, "duty": object, "task": object})  # fmt: skip
    row = rows[(rows["duty"] == "harbour") & (rows["task"] == "measure")].iloc[0]
    assert "By the drift of" in row["sentence"]
    assert row["basis"] == "own data"
    assert row["interval_hours"] % 5 == pytest.approx(0)
    assert 0 <= row["probability_it_pays"] <= 1
    other = rows[(rows["duty"] == "orchard") & (rows["task"] == "measure")].iloc[0]
    assert "first sign to failure" in other["sentence"]
