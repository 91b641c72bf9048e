"""Records of many units go through in blocks: the same figures, in bounded memory."""

import sys

import numpy as np
import pandas as pd
import pytest

from dutylife.models.mean_cumulative import mean_cumulative

module = sys.modules[mean_cumulative.__module__]


def records(n, seed=4):
    """Units watched from unlike ages on, with some events each, some rows in a row."""
    rng = np.random.default_rng(seed)
    unit = np.repeat(np.arange(n), 4)
    start = np.repeat(rng.integers(0, 50, n), 4).astype(float)
    steps = rng.integers(1, 60, (n, 4)).cumsum(axis=1).ravel()
    exits = start + steps
    entry = start + np.concatenate([np.zeros((n, 1)), steps.reshape(n, 4)[:, :-1]], axis=1).ravel()
    return [f"M-{u}" for u in unit], exits, rng.random(4 * n) < 0.7, entry


@pytest.mark.parametrize("variance", ["robust", "robust n - 1", "poisson"])
@pytest.mark.parametrize("entered", [True, False])
def test_blocks_of_units_give_the_same_curve(monkeypatch, variance, entered):
    unit, exits, event, entry = records(150)
    more = {"variance": variance, "entry": entry if entered else None}
    whole = mean_cumulative(unit, exits, event, **more).table
    monkeypatch.setattr(module, "_AT_ONCE", 7 * len(whole))
    blocks = mean_cumulative(unit, exits, event, **more).table
    pd.testing.assert_frame_equal(blocks, whole, rtol=1e-12)


def test_what_is_held_at_once_does_not_grow_with_units(monkeypatch):
    held = []
    of = module._Rows.of

    def counted(self, block):
        watched, events = of(self, block)
        held.append(watched.size)
        return watched, events

    monkeypatch.setattr(module._Rows, "of", counted)
    monkeypatch.setattr(module, "_AT_ONCE", 20_000)
    for n in (400, 1600):
        unit, exits, event, _ = records(n)
        mean_cumulative(unit, exits, event)
    assert max(held) <= 20_000
