"""Lives are the same to the last figure however many machines are built together, and wherever."""

from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.intake import read_exports
from dutylife.lives import blocks, build_lives
from dutylife.practice import make_practice
from dutylife.settings import Settings, read_settings
from dutylife.settings.sections import Compute, Lives

Read = tuple[Settings, dict[str, pd.DataFrame]]


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Read:
    """A fleet of machines old and new, some moved to another duty, some gone."""
    made = make_practice(
        tmp_path_factory.mktemp("fleet"), n_units=24, n_years=3, seed=8,
        difficulties={"duty_changes": 1.0, "late_start": 0.5},
    )  # fmt: skip
    settings = read_settings(made["settings"])
    found = read_exports(settings)
    fleet = settings.fleet.model_copy(update={"as_of": found.as_of})
    settings = settings.model_copy(update={"fleet": fleet})
    t = dict(found.tables)
    t |= code_lines(t["service_lines"], t["units"], t["shelf"], settings)
    return settings, t


def built(read: Read, **changed: Any) -> dict[str, pd.DataFrame]:
    settings, t = read
    return build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"],
        settings.model_copy(update=changed),
    )  # fmt: skip


def with_rule(read: Read, rule: str) -> Lives:
    return read[0].lives.model_copy(update={"first_part": rule})


@pytest.mark.parametrize(
    ("machines", "rule"), [(1, "by age"), (7, "by age"), (11, "original"), (7, "unknown")]
)
def test_blocks_of_any_size_give_the_same_tables(read, monkeypatch, machines, rule):
    lives = with_rule(read, rule)
    whole = built(read, lives=lives)
    assert whole["failure_events"]["clock_source"].nunique() > 2
    assert (whole["failure_events"]["spell"] > 1).any()
    monkeypatch.setattr(blocks, "MACHINES_A_BLOCK", machines)
    parted = built(read, lives=lives)
    for name, table in whole.items():
        pd.testing.assert_frame_equal(parted[name], table, check_exact=True, obj=name)


def test_an_old_machines_first_part_is_judged_by_the_whole_fleet(read, monkeypatch):
    """Each machine in a block of its own: its own lives alone would judge otherwise."""
    first = built(read)["failure_events"]
    first = first[(first["life_number"] == 1) & (first["spell"] == 1)]
    record_start = read[1]["service_lines"]["service_date"].min()
    old = read[1]["units"].set_index("unit_id")["in_service_on"] < record_start
    of_old = first[first["unit_id"].astype("object").map(old).eq(True)]  # noqa: E712
    known = of_old["installed_on"].notna()
    assert known.any()
    assert not known.all()
    monkeypatch.setattr(blocks, "MACHINES_A_BLOCK", 1)
    again = built(read)["failure_events"]
    assert again.loc[of_old.index, "installed_on"].notna().equals(known)


def test_two_processes_build_the_same_lives(read, monkeypatch):
    whole = built(read)["failure_events"]
    monkeypatch.setattr(blocks, "MACHINES_A_BLOCK", 5)
    spread = built(read, compute=Compute(workers=2))["failure_events"]
    pd.testing.assert_frame_equal(spread, whole, check_exact=True)


def test_a_block_holds_the_words_of_its_own_machines_only(read, monkeypatch):
    """What travels to a worker must not grow with the fleet."""
    seen: list[set[str]] = []
    whole = blocks.lives_of

    def looked_at(fleet: Any, block: Any) -> Any:
        seen.append({*block.machines.index})
        for rows in (block.events, block.spans, block.evidence):
            assert not any(isinstance(d, pd.CategoricalDtype) for d in rows.dtypes)
            assert {*rows["unit_id"]} <= seen[-1]
        assert {*block.paths.names} <= seen[-1]
        return whole(fleet, replace(block))

    monkeypatch.setattr(blocks, "MACHINES_A_BLOCK", 10)
    monkeypatch.setattr(blocks, "lives_of", looked_at)
    built(read)
    assert [len(names) for names in seen[:-1]] == [10] * (len(seen) - 1)
    assert len(set.union(*seen)) == sum(map(len, seen))
