"""Several of the same part on one machine, worked out by hand."""

from types import SimpleNamespace

import pandas as pd
import pytest

from dutylife.errors import SettingsError
from dutylife.settings import settings_from

BELT = "drive belt"
NEW = "2020-01-01"
TWO = {"positions": {BELT: 2}}


def belts(made: SimpleNamespace, *events: dict[str, object], **more: object) -> pd.DataFrame:
    """Belts of a machine new on the record's first day."""
    rows = [{"unit_id": "P1", "component": BELT, "activity": "replace", "reason": "failure"} | e
            for e in events]  # fmt: skip
    days = sorted({str(e["event_date"]) for e in rows} | {NEW, "2020-12-31"})
    found = made.build(
        made.lines(*[("P1", d) for d in days]), made.events(*rows),
        made.units({"unit_id": "P1", "in_service_on": NEW}), **more,
    )  # fmt: skip
    table = found["failure_events"]
    return table[table["component"] == BELT].sort_values(["position", "life_number"])


def test_named_positions_each_have_lives_of_their_own(made: SimpleNamespace) -> None:
    lives = belts(
        made,
        {"event_date": "2020-03-01", "position": "left"},
        {"event_date": "2020-05-01", "position": "right"},
        {"event_date": "2020-09-01", "position": "left"},
        {"event_date": "2020-10-01", "position": "right"},
    )
    left, right = (lives[lives["position"] == p] for p in ("left", "right"))
    assert left["exit_days"].tolist() == [60.0, 184.0, 121.0]
    assert right["exit_days"].tolist() == [121.0, 153.0, 91.0]
    assert left["event"].tolist() == right["event"].tolist() == ["failed", "failed", "running"]


def test_one_mention_of_a_side_makes_no_second_part(made: SimpleNamespace) -> None:
    lives = belts(made, {"event_date": "2020-03-01", "position": "left"},
                  {"event_date": "2020-05-01"})  # fmt: skip
    assert lives["position"].astype("object").fillna("").unique().tolist() == [""]
    assert lives["exit_days"].tolist() == [60.0, 61.0, 244.0]


def test_all_pieces_changed_renews_all_and_one_of_them_failed(made: SimpleNamespace) -> None:
    lives = belts(made, {"event_date": "2020-03-01", "quantity": 2.0}, lives=TWO)
    assert lives["position"].tolist() == ["1", "1", "2", "2"]
    assert lives["exit_days"].tolist() == [60.0, 305.0, 60.0, 305.0]
    # two changed for one failure: together they are one
    assert lives.loc[lives["event"] == "failed", "weight"].sum() == 1.0


def test_one_of_two_alike_changed_is_of_known_age_and_the_other_goes_on(
    made: SimpleNamespace,
) -> None:
    lives = belts(made, {"event_date": "2020-03-01", "quantity": 1.0}, lives=TWO)
    assert lives["exit_days"].tolist() == [60.0, 305.0, 365.0]
    assert lives["event"].tolist() == ["failed", "running", "running"]
    assert lives["weight"].tolist() == [1.0, 1.0, 1.0]


def test_one_of_two_unlike_changed_is_shared_and_its_ages_are_known_no_more(
    made: SimpleNamespace,
) -> None:
    lives = belts(
        made,
        {"event_date": "2020-03-01", "quantity": 1.0},
        {"event_date": "2020-06-01", "quantity": 1.0},
        lives=TWO,
    )
    second = lives[lives["ended_on"] == pd.Timestamp("2020-06-01")]
    assert sorted(second["exit_days"]) == [92.0, 152.0]
    assert second["weight"].tolist() == [0.5, 0.5]
    after = lives[lives["event"] == "running"]
    assert after["exit_days"].isna().all()
    assert after["clock_source"].tolist() == ["unknown", "unknown"]


def test_failures_are_neither_made_nor_lost_by_positions(made: SimpleNamespace) -> None:
    days = [f"2020-{m:02d}-15" for m in range(2, 12)]
    events = [{"event_date": d, "quantity": float(1 + i % 2)} for i, d in enumerate(days)]
    lives = belts(made, *events, lives=TWO)
    failed = lives[lives["event"] == "failed"]
    assert failed.groupby("ended_on")["weight"].sum().tolist() == pytest.approx([1.0] * 10)


def test_a_number_out_of_range_is_refused_with_its_key() -> None:
    with pytest.raises(SettingsError, match=r"lives\.positions"):
        settings_from({"lives": {"positions": {BELT: 0}}})
