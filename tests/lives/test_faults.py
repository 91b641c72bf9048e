"""A record that can't be as it says: each fault is told with its rows, none stops the run."""

from types import SimpleNamespace

import pandas as pd

from dutylife.lives import counter_habits

CAP = "ignition cap"


def said(found: dict[str, pd.DataFrame], key: str) -> pd.Series:
    rows = found["findings"][found["findings"]["key"] == key]
    assert len(rows) == 1, found["findings"]["message"].tolist()
    return rows.iloc[0]


def test_a_machine_seen_before_it_was_new(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-02-01"), ("P1", "2020-08-01")),
        made.events(("P1", CAP, "2020-08-01", "replace", "failure")),
        made.units({"unit_id": "P1", "in_service_on": "2020-06-01"}),
    )
    note = said(found, "in_service_on")
    assert "lines.csv row 2" in note["message"]
    assert (note["source_file"], note["source_row"]) == ("lines.csv", 2)
    ages = found["failure_events"]
    assert (ages["exit_days"].dropna() >= ages["entry_days"].dropna()).all()


def test_a_machine_seen_after_it_left_is_watched_to_its_last_visit(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-02-01"), ("P1", "2020-08-01")),
        made.events(("P1", CAP, "2020-08-01", "replace", "failure")),
        made.units({"unit_id": "P1", "in_service_on": "2020-01-15", "left_on": "2020-05-01"}),
    )
    assert "lines.csv row 3" in said(found, "left_on")["message"]
    assert found["failure_events"]["ended_on"].max() == pd.Timestamp("2020-08-01")


def test_two_installs_on_one_day_are_one_life_and_told(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-02-01"), ("P1", "2020-08-01"), ("P1", "2020-08-01")),
        made.events(("P1", CAP, "2020-08-01", "replace", "failure"),
                    {"unit_id": "P1", "component": CAP, "event_date": "2020-08-01",
                     "activity": "replace", "reason": "failure", "line_ids": "L2"}),
        made.units({"unit_id": "P1", "in_service_on": "2020-02-01"}),
    )  # fmt: skip
    note = said(found, "two installs")
    assert f"{CAP} of P1 on 2020-08-01" in note["message"]
    assert "lines.csv row 4" in note["message"]
    assert found["failure_events"]["event"].tolist() == ["failed", "running"]


def test_more_pieces_than_places_are_told_with_the_key_that_mends_it(
    made: SimpleNamespace,
) -> None:
    parts = (
        made.lines(("P1", "2020-02-01"), ("P1", "2020-08-01")),
        made.events({"unit_id": "P1", "component": CAP, "event_date": "2020-08-01",
                     "activity": "replace", "reason": "failure", "quantity": 2.0}),
        made.units({"unit_id": "P1", "in_service_on": "2020-02-01"}),
    )  # fmt: skip
    assert "[lives.positions]" in said(made.build(*parts), "quantity")["mend"]
    mended = made.build(*parts, lives={"positions": {CAP: 2}})
    assert "quantity" not in set(mended["findings"]["key"])
    assert len(mended["failure_events"]) == 4


def test_counter_sales_name_the_customer_whose_lives_may_look_long(made: SimpleNamespace) -> None:
    rows = made.lines(("P1", "2020-02-01"), (None, "2020-03-01"), (None, "2020-04-01"),
                      ("P2", "2020-05-01"))  # fmt: skip
    rows["customer"] = pd.Categorical(["C1", "C1", "C1", "C2"])
    rows["part_number"] = pd.Categorical(["CAP-5"] * 4)
    change = {"component": CAP, "activity": "replace", "reason": "failure", "part_number": "CAP-5"}
    events = made.events(
        change | {"unit_id": "P1", "event_date": "2020-02-01"},
        change | {"unit_id": "P2", "event_date": "2020-05-01", "line_ids": "L3"},
    )
    habits = counter_habits(events, rows)
    assert habits.to_dict("records") == [
        {"customer": "C1", "component": CAP, "n_counter": 2, "n_fitted": 1}
    ]
    found = made.build(rows, events, made.units({"unit_id": "P1"}, {"unit_id": "P2"}))
    assert "C1, ignition cap (2 beside 1 fitted here)" in said(found, "over the counter")["message"]


def test_a_sound_record_has_no_such_finding(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-02-01"), ("P1", "2020-08-01")),
        made.events(("P1", CAP, "2020-08-01", "replace", "failure")),
        made.units({"unit_id": "P1", "in_service_on": "2020-01-15"}),
    )
    keys = {"in_service_on", "left_on", "two installs", "quantity", "over the counter"}
    assert not keys & set(found["findings"]["key"])
