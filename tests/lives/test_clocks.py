"""Clocks of the whole fleet at once say of each machine what it would be told alone."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_meter import longest_path

from dutylife.lives.clocks import standing
from dutylife.lives.clocks.order import codes_of, rows_in_order
from dutylife.lives.clocks.standing import RESET_COST, Rows, rows_that_stand
from dutylife.lives.meter import meter_paths
from dutylife.schema import as_table

READINGS = st.lists(
    st.tuples(st.integers(0, 400), st.integers(0, 3000)), min_size=1, max_size=14, unique=True
)


def fleet_of(machines: list[list[tuple[int, int]]]) -> Rows:
    ordered = [np.array(sorted(m), dtype=float) for m in machines]
    both = np.concatenate(ordered)
    start = np.concatenate([[0], np.cumsum([len(m) for m in ordered])])
    return Rows(start, both[:, 0], both[:, 1])


@settings(max_examples=60, deadline=None)
@given(st.lists(READINGS, min_size=1, max_size=6), st.sampled_from([24.0, np.inf]))
def test_machines_side_by_side_keep_what_each_keeps_alone(
    machines: list[list[tuple[int, int]]], fastest: float
) -> None:
    rows = fleet_of(machines)
    for cost in (RESET_COST, np.inf):
        kept = rows_that_stand(rows, fastest, reset_cost=cost)
        alone = [
            longest_path(rows.day[a:b], rows.reading[a:b], fastest, cost)
            for a, b in zip(rows.start[:-1], rows.start[1:], strict=True)
        ]
        assert kept.tolist() == np.concatenate(alone).tolist()


def test_long_histories_in_small_batches_keep_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """300 machines of 5 to 60 readings, a fifth with slips or a new meter."""
    rng = np.random.default_rng(8)
    machines = []
    for n in rng.integers(5, 61, 300):
        day = np.sort(rng.choice(1400, n, replace=False))
        reading = np.floor(day * rng.uniform(0.5, 6.0))
        slip = rng.random(n) < rng.choice([0.0, 0.2], p=[0.8, 0.2])
        reading[slip] = np.floor(reading[slip] / 10)
        machines.append(list(zip(day.tolist(), reading.tolist(), strict=True)))
    rows = fleet_of(machines)
    monkeypatch.setattr(standing, "_CELLS", 20_000)
    kept = rows_that_stand(rows, 24.0)
    alone = [
        longest_path(rows.day[a:b], rows.reading[a:b], 24.0, RESET_COST)
        for a, b in zip(rows.start[:-1], rows.start[1:], strict=True)
    ]
    assert kept.tolist() == np.concatenate(alone).tolist()
    assert not kept.all()


def test_a_path_longer_than_the_band_drops_its_slips() -> None:
    day = np.arange(0.0, 3000.0, 10.0)
    reading = 3.0 * day
    slips = [40, 41, 42, 150, 299]
    reading[slips] = [5.0, 6.0, 7.0, 90_000.0, 12.0]
    kept = rows_that_stand(Rows(np.array([0, len(day)]), day, reading), 24.0)
    assert np.flatnonzero(~kept).tolist() == slips


@given(
    st.lists(st.tuples(st.integers(-3, 200_000), st.integers(0, 3)), max_size=40),
)
def test_rows_come_in_order_and_equal_rows_stay(pairs: list[tuple[int, int]]) -> None:
    small = np.array([p[1] for p in pairs], dtype=np.int64)
    large = np.array([p[0] for p in pairs], dtype=np.int64)
    assert rows_in_order(small, large).tolist() == np.lexsort((small, large)).tolist()


def test_names_are_numbered_in_their_order_whatever_their_type() -> None:
    names = pd.Series(["b", None, "a", "b", "c"])
    for kind in ("object", "category"):
        given_names = names.astype(kind)
        if kind == "category":
            given_names = given_names.cat.set_categories(["z", "c", "b", "a"])
        codes, words = codes_of(given_names)
        assert codes.tolist() == [1, -1, 0, 1, 2]
        assert words.tolist() == ["a", "b", "c"]


def test_meters_on_days_are_those_of_a_plain_search() -> None:
    """Between and on readings by numpy's interpolation, beyond them by the rate given."""
    rng = np.random.default_rng(3)
    rows = []
    for unit in range(20):
        day = np.sort(rng.choice(900, rng.integers(1, 12), replace=False))
        start = pd.Timestamp("2021-01-01")
        rows += [(f"U{unit:02}", start + pd.Timedelta(days=int(d)), 2.0 * d) for d in day]
    frame = pd.DataFrame(rows, columns=["unit_id", "service_date", "meter_hours"])
    paths = meter_paths(frame.sample(frac=1.0, random_state=1), pd.Series(dtype="M8[ns]"), "hours")
    machine = rng.integers(0, 20, 500)
    asked = rng.uniform(paths.day.min() - 300, paths.day.max() + 300, 500).round()
    found = paths.at(machine, asked, np.full(500, 5.0))
    for i in range(500):
        own = slice(paths.start[machine[i]], paths.start[machine[i] + 1])
        day, reading = paths.day[own], paths.reading[own]
        beyond = min(asked[i] - day[0], 0.0) + max(asked[i] - day[-1], 0.0)
        expected = np.interp(asked[i], day, reading) + 5.0 * beyond
        assert found.reading[i] == pytest.approx(expected)
        assert found.beyond_days[i] == beyond
        nearest = np.abs(day - asked[i]).min()
        assert found.source[i] == (0 if nearest <= 1 else 1 if beyond == 0 else 2)


CAP = "ignition cap"


def faulty_fleet(made: SimpleNamespace, name: str = "M{:02}", factor: float = 1.0) -> tuple:
    """Lines, events and machines: 12 machines of 3 duties, slips, a new meter, a stand."""
    rng = np.random.default_rng(12)
    lines, events, machines, spans = [], [], [], []
    for k in range(12):
        unit = name.format(k)
        day = np.sort(rng.choice(1000, 14, replace=False))
        meter = np.floor(day * rng.uniform(1.0, 4.0))
        if k % 4 == 1:
            meter[6] = meter[6] // 10
        if k % 4 == 2:
            meter[8:] -= meter[7]
        if k % 4 == 3:
            meter[9:] -= meter[9] - meter[8]
        date = pd.Timestamp("2018-01-01") + pd.to_timedelta(day, unit="D")
        has = k != 5
        lines += [(unit, d, factor * m if has else None) for d, m in zip(date, meter, strict=True)]
        events += [(unit, CAP, d, "replace", "failure") for d in date[3::4]]
        machines.append({"unit_id": unit, "in_service_on": "2018-01-01" if k % 2 else None})
        spans.append((unit, "2018-01-01", f"duty {k % 3}", "C1"))
    return made.lines(*lines), made.events(*events), made.units(*machines), made.spans(*spans)


FIGURES = ["exit_days", "exit_hours", "entry_hours", "age_se_hours", "clock_source", "event"]


def test_other_names_of_machines_change_nothing(made: SimpleNamespace) -> None:
    first = made.build(*faulty_fleet(made))["failure_events"]
    back = {f"Z{99 - k}": f"M{k:02}" for k in range(12)}
    lines, events, machines, spans = faulty_fleet(made)
    to = {old: new for new, old in back.items()}
    renamed = [
        as_table(n, t.assign(unit_id=t["unit_id"].astype("object").map(to)))
        for n, t in (("service_lines", lines), ("maintenance_events", events),
                     ("units", machines), ("unit_spans", spans))
    ]  # fmt: skip
    second = made.build(*renamed)["failure_events"]
    second = second.assign(unit_id=second["unit_id"].astype("object").map(back))
    keys = ["unit_id", "component", "life_number"]
    both = [
        t.astype({"unit_id": "object"}).sort_values(keys)[[*keys, *FIGURES]].reset_index(drop=True)
        for t in (first, second)
    ]
    pd.testing.assert_frame_equal(*both, check_categorical=False)


def test_the_order_of_rows_changes_nothing(made: SimpleNamespace) -> None:
    lines, events, machines, spans = faulty_fleet(made)
    first = made.build(lines, events, machines, spans)["failure_events"]
    mixed = [t.sample(frac=1.0, random_state=5) for t in (lines, events, machines, spans)]
    pd.testing.assert_frame_equal(made.build(*mixed)["failure_events"], first)


def test_no_machine_with_a_reading_gives_no_paths() -> None:
    frame = pd.DataFrame({"unit_id": ["A"], "service_date": [pd.Timestamp("2020-01-01")],
                          "meter_hours": [np.nan]})  # fmt: skip
    paths = meter_paths(frame, pd.Series(dtype="M8[ns]"), "hours")
    assert len(paths) == 0
    assert paths.of(pd.Series(["A"])).tolist() == [-1]
