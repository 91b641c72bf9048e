"""Fleets of many machines are simulated in blocks: each machine meets what it met before."""

import dataclasses

import made_standing as made
import numpy as np
import pandas as pd
import pytest

from dutylife.decisions.comparison import year as module
from dutylife.decisions.comparison.compare import comparison_table
from dutylife.decisions.comparison.policies import Look, Plan, Policy, Spacing
from dutylife.decisions.comparison.renewals import Away
from dutylife.decisions.comparison.year import Size, years_of

SIZE = Size(n_groups=8, per_group=2)


def fleet(n=90):
    """Machines of two duties and three customers."""
    one = made.standing(shape=[1.8, 2.2], scale=[90.0, 120.0], n=n, age=20.0)
    return dataclasses.replace(
        one, duty=tuple(["yard", "harbour"][i % 2] for i in range(n)),
        customer=tuple("ABC"[i % 3] for i in range(n)),
    )  # fmt: skip


def plans():
    look = Look(
        task="inspect", spacing=Spacing(days=60.0), warning=Spacing(days=20.0), own_visit=False,
        can_hurt=False,
    )  # fmt: skip
    return [
        Plan(
            name="recommended",
            policies={made.KEY: Policy(change_at=Spacing(days=70.0), looks=(look,))},
        ),
        Plan(
            name="as seen", policies={made.KEY: Policy(seen=(12.0, 4000.0))},
            visits_a_day={"yard": (30.0, 9000.0), "harbour": (12.0, 8000.0)},
        ),
    ]  # fmt: skip


def years(standing, away=None):
    return years_of(standing, plans(), made.terms(), seed=3, size=SIZE, away=away)


@pytest.mark.parametrize("stays", [None, 45.0])
def test_blocks_of_machines_change_nothing(monkeypatch, stays):
    standing = fleet()
    away = None if stays is None else Away(days=stays, phase=np.linspace(0, stays, 90))
    whole = years(standing, away)
    monkeypatch.setattr(module, "MACHINES_AT_ONCE", 16)
    for block, one in zip(years(standing, away), whole, strict=True):
        assert set(block.sums) == set(one.sums)
        for measure, values in one.sums.items():
            np.testing.assert_array_equal(block.sums[measure], values, err_msg=measure)
        np.testing.assert_array_equal(block.failure_money, one.failure_money)


def test_what_is_simulated_at_once_does_not_grow_with_the_fleet(monkeypatch):
    held = []
    of_block = module._of_block

    def counted(standing, *more):
        held.append(standing.n_parts)
        return of_block(standing, *more)

    monkeypatch.setattr(module, "_of_block", counted)
    monkeypatch.setattr(module, "MACHINES_AT_ONCE", 25)
    for n in (60, 240):
        years(fleet(n))
    assert max(held) <= 25
    assert sum(held) == 60 + 240


def test_figures_of_a_huge_fleet_are_right_to_seven_digits(monkeypatch):
    standing = fleet()
    exact = comparison_table(standing, years(standing), 0.9)
    monkeypatch.setattr(module, "MACHINES_AT_ONCE", 30)
    monkeypatch.setattr(module, "EXACT_MACHINES", 50)
    short = years(standing)
    assert all(v.dtype == np.float32 for y in short for v in y.sums.values())
    pd.testing.assert_frame_equal(comparison_table(standing, short, 0.9), exact, rtol=1e-6)
