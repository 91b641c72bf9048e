"""Lives of a few machines, each worked out by hand."""

from types import SimpleNamespace

import pandas as pd
import pytest

from dutylife.errors import SettingsError
from dutylife.lives import build_lives
from dutylife.schema import check_table
from dutylife.settings import settings_from

CAP = "ignition cap"


def of(found: dict[str, pd.DataFrame], unit: str, component: str = CAP) -> pd.DataFrame:
    table = found["failure_events"]
    return table[(table["unit_id"] == unit) & (table["component"] == component)].reset_index()


@pytest.fixture
def one_machine(made: SimpleNamespace) -> dict[str, pd.DataFrame]:
    """P1 enters service a month into the record and runs 2 h a day; P0 only opens the record."""
    return made.build(
        made.lines(("P0", "2020-01-01"), ("P1", "2020-05-01", 180), ("P1", "2020-08-01", 364),
                   ("P1", "2020-12-31", 668)),
        made.events(
            {"unit_id": "P1", "component": CAP, "event_date": "2020-05-01", "activity": "replace",
             "reason": "failure", "part_number": "CAP-5", "confidence": 0.8, "ticket": "T1",
             "line_ids": "L1", "failure_mode": "open"},
            {"unit_id": "P1", "component": CAP, "event_date": "2020-08-01", "activity": "replace",
             "reason": "opportunistic", "part_number": "CAP-6", "ticket": "T2"},
        ),
        made.units({"unit_id": "P0", "equipment_class": "saw"},
                   {"unit_id": "P1", "in_service_on": "2020-02-01", "engine_model": "E1"}),
    )  # fmt: skip


def test_a_failure_a_change_and_a_part_still_running(one_machine: dict[str, pd.DataFrame]) -> None:
    lives = of(one_machine, "P1")
    assert lives["life_number"].tolist() == [1, 2, 3]
    assert lives["event"].tolist() == ["failed", "replaced", "running"]
    # 1 Feb to 1 May 90 days (2020 is a leap year), to 1 Aug 92, to 31 Dec 152
    assert lives["exit_days"].tolist() == [90.0, 92.0, 152.0]
    assert lives["entry_days"].tolist() == [0.0, 0.0, 0.0]
    assert lives["exit_hours"].tolist() == [180.0, 184.0, 304.0]
    assert lives["clock_source"].tolist() == ["meter"] * 3
    assert lives["age_se_hours"].tolist() == [0.5] * 3
    assert lives["part_number"].isna().tolist() == [True, False, False]
    assert lives["part_number"].tolist()[1:] == ["CAP-5", "CAP-6"]
    assert lives["weight"].tolist() == [0.8, 1.0, 1.0]
    assert lives["ticket"].tolist() == ["T1", "T2", ""]
    assert lives.loc[0, "failure_mode"] == "open"
    assert lives.loc[0, "line_ids"] == "L1"


def test_tables_keep_to_their_specification(one_machine: dict[str, pd.DataFrame]) -> None:
    for name, table in one_machine.items():
        assert check_table(name, table).empty


def test_use_and_presence_of_the_machine_are_filled(one_machine: dict[str, pd.DataFrame]) -> None:
    unit = one_machine["units"].set_index("unit_id").loc["P1"]
    assert unit["hours_per_week"] == pytest.approx(14.0, rel=0.01)
    assert unit["usage_source"] == "meter"
    assert unit["engine_model"] == "E1"
    assert unit["last_seen"] == pd.Timestamp("2020-12-31")
    assert unit["prob_in_service"] > 0.5
    span = one_machine["unit_spans"].set_index("unit_id").loc["P1"]
    assert span["hours_per_week"] == pytest.approx(14.0, rel=0.01)


def test_a_class_carries_what_one_of_its_machines_carries(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-01-01"), ("P2", "2020-03-01"), ("P2", "2020-12-01"),
                   ("N1", "2020-12-01")),
        made.events(("P1", CAP, "2020-01-01", "replace", "failure"),
                    ("N1", "drive belt", "2020-12-01", "replace", "failure")),
        made.units({"unit_id": "P1"}, {"unit_id": "P2"}, {"unit_id": "P3"},
                   {"unit_id": "N1", "equipment_class": None}),
    )  # fmt: skip
    table = found["failure_events"]
    assert sorted(set(zip(table["unit_id"], table["component"], strict=True))) == [
        ("N1", "drive belt"), ("P1", CAP), ("P2", CAP), ("P3", CAP)
    ]  # fmt: skip
    p2 = of(found, "P2").iloc[0]
    assert (p2["event"], p2["clock_source"]) == ("running", "unknown")
    assert pd.isna(p2["exit_days"])
    # never seen, only in the machines file: there, its part's age not known
    assert of(found, "P3").iloc[0]["event"] == "running"
    assert found["units"].set_index("unit_id").loc["P3", "prob_in_service"] == 1.0


def test_a_class_without_events_carries_what_all_the_others_carry(made: SimpleNamespace) -> None:
    kinds = ["pump", "saw", "mixer", "tamper"]
    units = made.units(*[{"unit_id": k, "equipment_class": k} for k in kinds])
    lines = made.lines(*[(k, "2020-06-01") for k in kinds])
    caps = [(k, CAP, "2020-06-01", "replace", "failure") for k in kinds[:3]]
    seal = ("pump", "pump mechanical seal", "2020-06-01", "replace", "failure")
    table = made.build(lines, made.events(*caps, seal), units)["failure_events"]
    assert table.loc[table["unit_id"] == "tamper", "component"].tolist() == [CAP]
    # two classes are too few to tell what all machines have
    table = made.build(lines, made.events(*caps[:2], seal), units)["failure_events"]
    assert "tamper" not in set(table["unit_id"])


@pytest.mark.parametrize(
    ("activity", "reason", "component", "ended", "next_is_known"),
    [
        ("replace", "failure", CAP, "failed", True),
        ("repair", "failure", CAP, "failed", True),
        ("inspect", "failure", CAP, "failed", False),
        ("adjust", "failure", CAP, "failed", False),
        ("replace", "preventive", CAP, "replaced", True),
        ("replace", "opportunistic", CAP, "replaced", True),
        ("clean", "preventive", "carburetor", "replaced", True),
        ("clean", "failure", "carburetor", "failed", True),
        ("clean", "preventive", "spark plug", None, None),
        ("repair", "preventive", CAP, None, None),
        ("test", "opportunistic", CAP, None, None),
    ],
)
def test_what_ends_a_life(
    made: SimpleNamespace, activity: str, reason: str, component: str,
    ended: str | None, next_is_known: bool | None,
) -> None:  # fmt: skip
    found = made.build(
        made.lines(("P1", "2020-01-01"), ("P1", "2020-06-01"), ("P1", "2020-12-01")),
        made.events(("P1", component, "2020-06-01", activity, reason)),
        made.units({"unit_id": "P1"}),
    )
    lives = of(found, "P1", component)
    if ended is None:
        assert lives["event"].tolist() == ["running"]
        return
    assert lives["event"].tolist() == [ended, "running"]
    assert (lives.loc[1, "clock_source"] != "unknown") == next_is_known
    if next_is_known:
        assert lives.loc[1, "exit_days"] == 213.0  # 1 June to 31 December


def test_several_events_on_one_day_are_one_and_failure_wins(made: SimpleNamespace) -> None:
    day = "2020-06-01"
    found = made.build(
        made.lines(("P1", "2020-01-01"), ("P1", day)),
        made.events(
            {"unit_id": "P1", "component": CAP, "event_date": day, "activity": "replace",
             "reason": "preventive", "part_number": "CAP-5"},
            {"unit_id": "P1", "component": CAP, "event_date": day, "activity": "test",
             "reason": "failure", "confidence": 0.6},
            ("P1", CAP, day, "clean", "opportunistic"),
        ),
        made.units({"unit_id": "P1"}),
    )  # fmt: skip
    lives = of(found, "P1")
    assert lives["event"].tolist() == ["failed", "running"]
    assert lives.loc[0, "weight"] == 0.6
    assert lives.loc[1, "part_number"] == "CAP-5"
    assert lives.loc[1, "clock_source"] != "unknown"


def test_a_comeback_ends_a_life_and_keeps_its_mark(made: SimpleNamespace) -> None:
    back = {"unit_id": "P1", "component": CAP, "event_date": "2020-06-11", "activity": "replace",
            "reason": "failure", "is_comeback": True}  # fmt: skip
    found = made.build(
        made.lines(("P1", "2020-01-01"), ("P1", "2020-06-01"), ("P1", "2020-06-11")),
        made.events(("P1", CAP, "2020-06-01", "replace", "failure"), back),
        made.units({"unit_id": "P1"}),
    )
    lives = of(found, "P1")
    assert lives["is_comeback"].tolist() == [False, True, False]
    assert lives.loc[1, "exit_days"] == 10.0
    assert found["recurrence_gaps"]["gap_days"].tolist() == [10.0, 0.0]


def first_life(made: SimpleNamespace, in_service_on: str, rule: str) -> pd.Series:
    """P1 first comes in on 20 March and its cap fails on 10 April; P0 opens the record.

    Watched 366 days, one renewal: mean 366 days between renewals, a quarter of it 91.5.
    """
    found = made.build(
        made.lines(("P0", "2020-01-01"), ("P1", "2020-03-20"), ("P1", "2020-04-10")),
        made.events(("P1", CAP, "2020-04-10", "replace", "failure")),
        made.units({"unit_id": "P0", "equipment_class": "saw"},
                   {"unit_id": "P1", "in_service_on": in_service_on}),
        lives={"first_part": rule},
    )  # fmt: skip
    return of(found, "P1").iloc[0]


def test_first_part_of_a_young_machine_is_taken_for_original(made: SimpleNamespace) -> None:
    life = first_life(made, "2019-12-02", "by age")  # 30 days old when the record begins
    assert (life["entry_days"], life["exit_days"]) == (30.0, 130.0)


def test_first_part_of_an_old_machine_has_no_known_age(made: SimpleNamespace) -> None:
    life = first_life(made, "2019-06-01", "by age")  # 214 days old
    assert life["clock_source"] == "unknown"
    assert pd.isna(life["exit_days"])
    assert life["event"] == "failed"  # it stays in the table


def test_first_part_original_is_watched_from_the_machines_first_line(made: SimpleNamespace) -> None:
    life = first_life(made, "2019-06-01", "original")
    # 1 June 2019 to 20 March 2020 is 293 days, to 10 April 314
    assert (life["entry_days"], life["exit_days"]) == (293.0, 314.0)


def test_first_part_unknown_unless_the_machine_is_new_in_the_record(made: SimpleNamespace) -> None:
    assert first_life(made, "2019-12-02", "unknown")["clock_source"] == "unknown"
    life = first_life(made, "2020-02-01", "unknown")
    assert (life["entry_days"], life["exit_days"]) == (0.0, 69.0)


def test_an_odometer_log_that_starts_late_enters_at_its_first_reading(
    made: SimpleNamespace,
) -> None:
    found = made.build(
        made.lines(("B1", "2020-01-01", 100000.0), ("B1", "2020-07-01", 130000.0),
                   ("B1", "2020-12-31", 160000.0)),
        made.events(("B1", "engine", "2020-07-01", "replace", "failure")),
        made.units({"unit_id": "B1", "in_service_on": "2018-01-01"}),
        fleet={"meter_unit": "miles"}, lives={"first_part": "original"},
    )  # fmt: skip
    lives = of(found, "B1", "engine")
    assert lives["entry_hours"].tolist() == [100000.0, 0.0]
    assert lives["exit_hours"].tolist() == [130000.0, 30000.0]


def test_a_life_is_one_row_in_each_duty_it_was_lived_in(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-01-01"), ("P1", "2020-04-01"), ("P1", "2020-10-01"),
                   ("P2", "2020-10-01")),
        made.events(("P1", CAP, "2020-04-01", "replace", "failure"),
                    ("P1", CAP, "2020-10-01", "replace", "failure")),
        made.units({"unit_id": "P1"}, {"unit_id": "P2"}),
        made.spans(("P1", "2020-02-01", "park", "C1"), ("P1", "2020-06-01", "kerb", "C2")),
    )  # fmt: skip
    lives = of(found, "P1")
    assert lives["duty"].tolist() == ["park", "park", "kerb", "kerb"]
    assert lives["customer"].tolist() == ["C1", "C1", "C2", "C2"]
    assert lives["life_number"].tolist() == [1, 2, 2, 3]
    assert lives["spell"].tolist() == [1, 1, 2, 1]
    assert lives["event"].tolist() == ["failed", "lost", "failed", "running"]
    # 1 April to 1 June 61 days, to 1 October 183
    assert lives["entry_days"].tolist()[1:3] == [0.0, 61.0]
    assert lives["exit_days"].tolist()[1:3] == [61.0, 183.0]
    assert of(found, "P2")["duty"].tolist() == ["not stated"]


def test_nothing_after_the_as_of_date_is_looked_at(made: SimpleNamespace) -> None:
    tables = (
        made.lines(("P1", "2020-01-01"), ("P1", "2020-06-01"), ("P1", "2021-06-01")),
        made.events(("P1", CAP, "2020-06-01", "replace", "failure"),
                    ("P1", CAP, "2021-06-01", "replace", "failure")),
        made.units({"unit_id": "P1"}, {"unit_id": "P9", "in_service_on": "2021-03-01"}),
    )  # fmt: skip
    found = made.build(*tables)
    assert of(found, "P1")["event"].tolist() == ["failed", "running"]
    assert of(found, "P9").empty
    assert found["units"]["last_seen"].max() == pd.Timestamp("2020-06-01")


def test_without_an_as_of_date_it_says_which_key_is_missing(made: SimpleNamespace) -> None:
    with pytest.raises(SettingsError, match=r"fleet\.as_of"):
        build_lives(
            made.events(("P1", CAP, "2020-06-01", "replace", "failure")),
            made.lines(("P1", "2020-06-01")), made.units({"unit_id": "P1"}),
            made.spans(("P1", "2020-01-01", "kerb")), settings_from({}),
        )  # fmt: skip


def test_no_events_give_no_lives_and_no_error(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-06-01")), made.events(), made.units({"unit_id": "P1"})
    )
    assert found["failure_events"].empty
    assert found["recurrence_gaps"].empty
    assert len(found["units"]) == 1


def test_row_order_changes_nothing_and_inputs_stay_as_they_were(made: SimpleNamespace) -> None:
    lines = made.lines(
        *[
            (f"P{i % 5}", f"2020-{1 + i % 12:02d}-{1 + i % 28:02d}", 100 + 40.0 * (i % 12))
            for i in range(60)
        ]
    )
    seen = lines[["unit_id", "service_date"]].drop_duplicates()
    rows = [(u, CAP, d, "replace", "failure") for u, d in seen.itertuples(index=False)]
    events, units = made.events(*rows), made.units(*[{"unit_id": f"P{i}"} for i in range(5)])
    before = lines.copy(), events.copy(), units.copy()
    found = made.build(lines, events, units)
    again = made.build(*[t.sample(frac=1.0, random_state=4) for t in (lines, events, units)])
    for name, table in found.items():
        pd.testing.assert_frame_equal(table, again[name])
    for table, old in zip((lines, events, units), before, strict=True):
        pd.testing.assert_frame_equal(table, old)
