"""Many positions under a planned age: gathered on a grid they ask for as much as one by one."""

import numpy as np
import pytest

from dutylife.stock import positions as by_position
from dutylife.stock.gathered import MOST_NODES, gathered, summed
from dutylife.stock.lattice import RenewalLaw, Spans
from dutylife.stock.part_law import factorial_cumulants
from dutylife.stock.plan_start import ALTERNATIVES, switched_chances
from dutylife.stock.positions import Draws, Positions, planned_chances

N = 800
SPANS = Spans(
    start=np.array([0, 30, 60, 90, 0, 0]), end=np.array([30, 60, 90, 120, 90, 180]), step_days=1.0
)
DRAWS = Draws(
    shape=np.array([1.7, 2.4]), scale=np.array([2300.0, 2900.0]), weight=np.array([0.4, 0.6])
)
LAW = RenewalLaw(
    shape=np.ones(1), scale=np.ones(1), planned_rate=np.zeros(1), planned_age=np.full(1, np.inf),
    done=0.9, leaving_rate=1e-4, takes_failed=0.9,
)  # fmt: skip


def machines(hours=1500.0, n=N, unknown=0.2):
    """Positions of a duty: machines differ in use by a third, parts are of every age."""
    rng = np.random.default_rng(3)
    per_unit = 7 / (20 * rng.lognormal(0, 0.3, n))
    planned = hours * per_unit
    # what is done early with other work counts as that much older
    age = planned * rng.uniform(0, 1.3, n) ** 1.2 + rng.uniform(0, 14, n)
    where = Positions(
        age=age, is_known=rng.random(n) >= unknown, days_per_unit=per_unit, planned_age=planned
    )
    return where, rng.uniform(0.5, 1.0, n), rng.choice(["A-1", "B-2"], n)


def one_by_one(found, present, number):
    """Cumulants and means by part, each position by itself."""
    out = {}
    for name in np.unique(number):
        mine = number == name
        of_spans = [
            factorial_cumulants(np.maximum(found.chances[:, mine, at : at + m], 0), present[mine])
            for at, m in found.columns
        ]
        means = [
            np.einsum("dnc,n->dc", found.chances[:, mine, at + m : at + m + 2], present[mine])
            for at, m in found.columns
        ]
        out[str(name)] = np.stack(of_spans, axis=1), np.stack(means, axis=1)
    return out


def near(sums, truth):
    """Half a year's mean within 1 %, a month's within a third of its standard deviation."""
    assert set(sums) == set(truth)
    for name, (factorial, means) in truth.items():
        got, got_means = sums[name]
        variance = factorial[..., 0] + factorial[..., 1]
        gap = got_means.sum(axis=-1) - means.sum(axis=-1)
        assert np.abs(gap / np.sqrt(variance)).max() < 0.35
        assert np.abs(gap.sum()) < 0.01 * means.sum()
        assert gap[:, -1] == pytest.approx(0.0, abs=0.01 * means[:, -1].sum(axis=-1).min())
        assert got[..., 0] + got[..., 1] == pytest.approx(variance, rel=0.08)


def test_gathered_positions_ask_for_as_much_as_one_by_one():
    where, present, number = machines()
    truth = one_by_one(planned_chances(LAW, where, DRAWS, SPANS), present, number)
    nodes, powers = gathered(where, present, number, 180.0)
    near(summed(planned_chances(LAW, nodes, DRAWS, SPANS), powers).sums, truth)


def test_a_plan_that_starts_later_too():
    where, present, number = machines()
    found, share = switched_chances(LAW, where, DRAWS, SPANS, 45.0, (0.001, 0.0))
    truth = one_by_one(found, np.tile(present, ALTERNATIVES) * share, np.tile(number, ALTERNATIVES))
    nodes, powers = gathered(where, present, number, 180.0)
    found, share = switched_chances(LAW, nodes, DRAWS, SPANS, 45.0, (0.001, 0.0))
    each = share ** np.arange(1, 5)[:, None]
    powers = {n: np.tile(p, ALTERNATIVES) * each for n, p in powers.items()}
    near(summed(found, powers).sums, truth)


def test_a_law_in_days_has_one_use_but_its_machines_fall_due_as_they_run():
    where, present, number = machines()
    days = Positions(
        age=where.age, is_known=where.is_known, days_per_unit=np.ones(N),
        planned_age=where.planned_age,
    )  # fmt: skip
    draws = Draws(shape=DRAWS.shape, scale=DRAWS.scale * 0.4, weight=DRAWS.weight)
    truth = one_by_one(planned_chances(LAW, days, draws, SPANS), present, number)
    nodes, powers = gathered(days, present, number, 180.0)
    near(summed(planned_chances(LAW, nodes, draws, SPANS), powers).sums, truth)


def test_numbers_ages_and_uses_are_kept():
    where, present, number = machines()
    nodes, powers = gathered(where, present, number, 180.0)
    for name, of_part in powers.items():
        mine = number == name
        for r in range(4):
            assert of_part[r].sum() == pytest.approx((present[mine] ** (r + 1)).sum())
        assert of_part[0] @ nodes.days_per_unit == pytest.approx(
            present[mine] @ where.days_per_unit[mine]
        )


def test_nodes_do_not_grow_with_the_fleet():
    for n in (5_000, 50_000):
        nodes, _ = gathered(*machines(n=n), 180.0)
        assert len(nodes.age) <= MOST_NODES


def test_lattices_shared_by_positions_of_one_use_give_the_same_chances(monkeypatch):
    where, _, _ = machines(n=60)
    few = Positions(
        age=where.age, is_known=where.is_known, days_per_unit=np.repeat([0.3, 0.4, 0.5], 20),
        planned_age=np.repeat([450.0, 600.0, 750.0], 20),
    )  # fmt: skip
    each = planned_chances(LAW, few, DRAWS, SPANS)
    monkeypatch.setattr(by_position, "SHARED_LATTICES", 10)
    shared = planned_chances(LAW, few, DRAWS, SPANS)
    assert shared.columns == each.columns
    assert shared.chances == pytest.approx(each.chances, abs=2e-6)
