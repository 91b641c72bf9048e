"""Several of the same part on one machine, worked out by hand."""

from types import SimpleNamespace

import pandas as pd
import pytest

from dutylife.components import components_of
from dutylife.errors import SettingsError
from dutylife.settings import settings_from

BELT = "drive belt (compactor)"
NEW = "2020-01-01"
TWO = {"positions": {BELT: 2}}


def built(
    made: SimpleNamespace, *events: dict[str, object], **more: object
) -> dict[str, pd.DataFrame]:
    """Tables of a machine, a pump, new on the record's first day; of its belts where not said."""
    rows = [{"unit_id": "P1", "component": BELT, "activity": "replace", "reason": "failure"} | e
            for e in events]  # fmt: skip
    days = sorted({str(e["event_date"]) for e in rows} | {NEW, "2020-12-31"})
    return made.build(
        made.lines(*[("P1", d) for d in days]), made.events(*rows),
        made.units({"unit_id": "P1", "in_service_on": NEW}), **more,
    )  # fmt: skip


def belts(made: SimpleNamespace, *events: dict[str, object], **more: object) -> pd.DataFrame:
    """Belts of that machine."""
    found = built(made, *events, **more)
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


def test_a_part_of_which_there_is_one_has_no_life_of_a_day(made: SimpleNamespace) -> None:
    """Two sides named once each, on one day: one part's life ends there, not one after another."""
    day = "2020-03-01"
    lives = belts(made, {"event_date": day, "position": "left"},
                  {"event_date": day, "position": "right"})  # fmt: skip
    assert lives["exit_days"].tolist() == [60.0, 305.0]
    assert lives["event"].tolist() == ["failed", "running"]


def test_a_name_said_once_makes_no_life_of_a_day_beside_known_ones(made: SimpleNamespace) -> None:
    named = [{"event_date": f"2020-{m:02d}-01", "position": p}
             for m, p in ((2, "left"), (3, "right"), (4, "left"), (5, "right"))]  # fmt: skip
    day = "2020-08-01"
    strange = [{"event_date": day, "position": p} for p in ("inner", "outer")]
    lives = belts(made, *named, *strange)
    assert set(lives["position"]) == {"left", "right"}
    assert (lives["exit_days"].dropna() > 0).all()
    ended = lives[lives["ended_on"] == pd.Timestamp(day)]
    assert sorted(ended["position"]) == ["left", "right"]


def test_a_look_at_a_side_is_a_look_at_the_one_part_there_is(made: SimpleNamespace) -> None:
    """Found failed at a service: since the last look, though that look named a side."""
    lives = belts(
        made,
        {"event_date": "2020-03-01", "position": "left", "activity": "inspect",
         "reason": "preventive", "finding": "ok"},
        {"event_date": "2020-05-01", "found_at_service": True},
    )  # fmt: skip
    failed = lives[lives["event"] == "failed"]
    assert failed[["lower_days", "upper_days"]].to_numpy().tolist() == [[60.0, 121.0]]


def test_the_stated_number_stands_against_names_of_the_record(made: SimpleNamespace) -> None:
    named = [{"event_date": f"2020-{m:02d}-01", "position": p}
             for m, p in ((2, "left"), (3, "right"), (4, "left"), (5, "right"))]  # fmt: skip
    one = belts(made, *named, lives={"positions": {BELT: 1}})
    assert one["exit_days"].tolist() == [31.0, 29.0, 31.0, 30.0, 244.0]
    rear = [{"event_date": f"2020-{m:02d}-15", "position": "rear"} for m in (6, 7, 8)]
    two = belts(made, *named, *rear, lives=TWO)
    assert set(two["position"]) == {"left", "rear"}


def test_an_alias_states_the_number_of_its_component(made: SimpleNamespace) -> None:
    plugs = [{"event_date": "2020-03-01", "component": "spark plug", "quantity": 2.0}]
    found = [
        built(made, *plugs, lives={"positions": {name: number}})
        for name in ("spark plug", "plug", "Sparkplug") for number in (2, {"pump": 2})
    ]  # fmt: skip
    for one in found:
        assert one["failure_events"]["position"].tolist() == ["1", "1", "2", "2"]
        assert set(one["findings"]["key"]) == set(found[0]["findings"]["key"])
        pd.testing.assert_frame_equal(one["failure_events"], found[0]["failure_events"])


def test_an_unknown_component_is_refused_and_the_nearest_named() -> None:
    settings = settings_from({"lives": {"positions": {"drive blet": 2}}}, source="shop.toml")
    with pytest.raises(SettingsError) as refused:
        components_of(settings)
    assert refused.value.where == 'shop.toml: lives.positions."drive blet"'
    assert f"'{BELT}'" in refused.value.mend


def test_one_component_stated_under_two_names_is_refused() -> None:
    settings = settings_from({"lives": {"positions": {"plug": 2, "spark plug": 1}}})
    with pytest.raises(SettingsError, match="one component") as refused:
        components_of(settings)
    assert "lives.positions" in refused.value.where


def test_a_class_no_machine_is_of_is_told_with_its_key(made: SimpleNamespace) -> None:
    event = {"event_date": "2020-03-01"}
    right = {"positions": {BELT: {"pump": 2}}}
    wrong = {"positions": {BELT: {"pmup": 2}}}
    key = f'lives.positions."{BELT}"."pmup"'
    told = built(made, event, lives=wrong)["findings"].set_index("key").loc[key]
    assert "pmup" in told["message"]
    assert "'pump'" in told["mend"]
    assert not [k for k in built(made, event, lives=right)["findings"]["key"] if "positions" in k]


def test_pieces_of_parts_whose_places_the_record_names_are_not_asked_about(
    made: SimpleNamespace,
) -> None:
    named = [{"event_date": f"2020-{m:02d}-01", "position": p}
             for m, p in ((2, "left"), (3, "right"), (4, "left"), (5, "right"))]  # fmt: skip
    both = {"event_date": "2020-08-01", "quantity": 2.0}
    assert "quantity" not in set(built(made, *named, both)["findings"]["key"])
    # of a place that is not known, it is; so are two sides that were named once
    assert "quantity" in set(built(made, both)["findings"]["key"])
    once = [{"event_date": "2020-08-01", "position": p} for p in ("left", "right")]
    assert "quantity" in set(built(made, *once)["findings"]["key"])
    # stated for another class, it is not known of this one
    other = {"positions": {BELT: {"saw": 2}}}
    assert "quantity" in set(built(made, both, lives=other)["findings"]["key"])
