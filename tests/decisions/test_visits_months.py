"""The months' programme: the same optimum as the programme written out, and its bound."""

import time

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from dutylife.decisions.visits.months import plan_months
from dutylife.decisions.visits.programme import Programme, best_course
from dutylife.decisions.visits.worth import interval_worth, law_curve, law_grid, law_worth

MONTH = 30


def programme(random, n_tasks, n_months, visit_cost=25.0, shut=(), limited=()):
    """A machine of parts with laws and looks with intervals, as costs by month."""
    days = MONTH * np.arange(n_months) + MONTH // 2
    end = MONTH * n_months
    first, again = np.empty((n_tasks, n_months)), np.full((n_tasks, n_months, n_months), np.inf)
    end_first, end_again, base = np.empty(n_tasks), np.empty((n_tasks, n_months)), 0.0
    for t in range(n_tasks):
        if t % 4 == 3:
            period = random.uniform(60, 300)
            w = interval_worth(own=10.0, share=9.0, failure=200.0, due=random.uniform(-60, period),
                               period=period, n_days=end + 60)  # fmt: skip
            base += 19.0 / period * end
        else:
            shape, scale = random.uniform(1.6, 3.5, 1), random.uniform(150, 700, 1)
            own = random.uniform(26, 130)
            curve = law_curve(law_grid(shape, scale, np.ones(1)), own=own, share=9.0,
                              failure=own * random.uniform(2.5, 6) + 120)  # fmt: skip
            w = law_worth(curve, random.uniform(0, 1.3) * curve.best_age, 1.0, end + 60)
            base += curve.rate * end
        first[t], end_first[t] = w.first[days], w.end_first[end]
        for a in range(n_months):
            again[t, a, a + 1 :] = w.again[days[a + 1 :] - days[a]]
            end_again[t, a] = w.end_again[end - days[a]]
        if t in limited:
            last = n_months // 2
            first[t, last:], end_first[t] = np.inf, np.inf
    visits = np.full(n_months, visit_cost)
    visits[list(shut)] = np.inf
    return Programme(first=first, again=again, end_first=end_first, end_again=end_again,
                     visit_costs=visits, labour_hours=random.uniform(0.3, 1.4, n_tasks),
                     base_cost=base)  # fmt: skip


def _arcs(programmes):
    arcs, costs = [], []
    n_months = len(programmes[0].visit_costs)
    for i, p in enumerate(programmes):
        for t in range(len(p.labour_hours)):
            for b in range(n_months):
                arcs.append((i, t, -1, b))
                costs.append(p.first[t, b])
            arcs.append((i, t, -1, n_months))
            costs.append(p.end_first[t])
            for a in range(n_months):
                for b in range(a + 1, n_months):
                    arcs.append((i, t, a, b))
                    costs.append(p.again[t, a, b])
                arcs.append((i, t, a, n_months))
                costs.append(p.end_again[t, a])
    return arcs, costs


def written_out(programmes, capacity=None):
    """The same programme over arcs and visits, given to HiGHS as it stands."""
    arcs, costs = _arcs(programmes)
    n_months = len(programmes[0].visit_costs)
    finite = np.isfinite(costs)
    arcs, costs = [a for a, f in zip(arcs, finite, strict=True) if f], np.array(costs)[finite]
    n, n_machines = len(arcs), len(programmes)
    visits = np.concatenate([p.visit_costs for p in programmes])
    upper = np.where(np.isfinite(visits), 1, 0)
    rows: dict[tuple, list] = {}
    for k, (i, t, a, b) in enumerate(arcs):
        rows.setdefault(("flow", i, t, a), []).append((k, 1))
        if b < n_months:
            rows.setdefault(("flow", i, t, b), []).append((k, -1))
            rows.setdefault(("visit", i, t, b), []).append((k, 1))
            if capacity is not None:
                rows.setdefault(("hours", b), []).append((k, programmes[i].labour_hours[t]))
    matrix = lil_matrix((len(rows), n + n_machines * n_months))
    low, high = np.zeros(len(rows)), np.zeros(len(rows))
    for r, (key, terms) in enumerate(rows.items()):
        for k, value in terms:
            matrix[r, k] += value
        if key[0] == "flow":
            low[r] = high[r] = 1.0 if key[3] == -1 else 0.0
        elif key[0] == "visit":
            matrix[r, n + key[1] * n_months + key[3]] = -1
            low[r] = -np.inf
        else:
            low[r], high[r] = -np.inf, capacity[key[1]]
    found = milp(
        np.concatenate([costs, np.where(upper, visits, 0.0)]),
        constraints=LinearConstraint(matrix.tocsr(), low, high),
        integrality=np.concatenate([np.zeros(n), np.ones(n_machines * n_months)]),
        bounds=Bounds(0, np.concatenate([np.ones(n), upper])), options={"mip_rel_gap": 1e-7},
    )  # fmt: skip
    return found.fun if found.status == 0 else np.inf


@pytest.mark.parametrize("seed", range(6))
def test_one_machine_is_solved_as_the_programme_written_out(seed):
    random = np.random.default_rng(seed)
    shut = (0, 3) if seed % 2 else ()
    p = programme(random, 5, 7, shut=shut, limited=(0,) if seed > 2 else ())
    course, cost = best_course(p)
    assert cost == pytest.approx(written_out([p]), abs=1e-6)
    assert not course.done[:, list(shut)].any()
    np.testing.assert_allclose(course.hours, p.labour_hours @ course.done)


def test_the_cost_of_a_course_is_that_of_its_arcs():
    p = programme(np.random.default_rng(9), 6, 9)
    course, cost = best_course(p)
    total = 25.0 * course.done.any(axis=0).sum()
    for t in range(6):
        months = np.flatnonzero(course.done[t])
        if not len(months):
            total += p.end_first[t]
            continue
        total += p.first[t, months[0]] + p.end_again[t, months[-1]]
        total += sum(p.again[t, a, b] for a, b in zip(months[:-1], months[1:], strict=True))
    assert cost == pytest.approx(total)


def test_a_machine_without_a_course_within_its_limits_says_so():
    p = programme(np.random.default_rng(1), 3, 6, shut=(0, 1, 2), limited=(1,))
    assert best_course(p)[1] == np.inf == written_out([p])


def test_hours_are_kept_and_the_bound_is_below_the_optimum():
    random = np.random.default_rng(3)
    machines = [programme(random, 4, 6) for _ in range(6)]
    free = plan_months(machines, None)
    needed = np.sum([c.hours for c in free.courses], axis=0)
    capacity = np.full(6, 0.55 * needed.max())
    plan = plan_months(machines, capacity)
    used = np.sum([c.hours for c in plan.courses], axis=0)
    best = written_out(machines, capacity) + sum(m.base_cost for m in machines)
    assert (used <= capacity + 1e-9).all()
    assert not plan.over_hours.any()
    assert plan.bound <= plan.cost + 1e-9
    assert best <= plan.cost + 1e-9
    # of so few machines whole courses fill the months less well than those of many
    assert plan.cost <= best * 1.04
    assert free.cost <= plan.cost


def test_hours_that_do_for_all_cost_nothing():
    random = np.random.default_rng(4)
    machines = [programme(random, 4, 6) for _ in range(5)]
    free, wide = plan_months(machines, None), plan_months(machines, np.full(6, 1e3))
    assert wide.cost == free.cost == wide.bound


def test_hours_that_can_not_be_kept_are_told():
    random = np.random.default_rng(5)
    machines = [programme(random, 3, 4, limited=(0,)) for _ in range(5)]
    plan = plan_months(machines, np.array([0.1, 0.1, 50.0, 50.0]))
    assert plan.over_hours[:2].sum() > 0.5


def test_no_hour_is_used_to_the_same_end_twice():
    random = np.random.default_rng(6)
    machines = [programme(random, 4, 6) for _ in range(8)]
    capacity = np.full(6, 4.0)
    one, two = plan_months(machines, capacity), plan_months(machines, capacity)
    assert one.cost == two.cost
    for a, b in zip(one.courses, two.courses, strict=True):
        np.testing.assert_array_equal(a.done, b.done)


@pytest.mark.slow
@pytest.mark.parametrize("squeeze", [0.9, 0.6, 0.4])
def test_200_machines_8_parts_12_months_are_near_the_bound_in_a_minute(squeeze):
    random = np.random.default_rng(7)
    machines = [programme(random, 8, 12) for _ in range(200)]
    free = plan_months(machines, None)
    needed = np.sum([c.hours for c in free.courses], axis=0)
    capacity = np.full(12, max(squeeze * needed.max(), 1.02 * needed.mean()))
    start, used = time.perf_counter(), time.process_time()
    plan = plan_months(machines, capacity)
    # of this process alone: what else the machine does is not its business
    seconds, passed = time.process_time() - used, time.perf_counter() - start
    print(
        f"\nhours {capacity[0]:.0f} a month (wanted {needed.max():.0f} at most, "
        f"{needed.mean():.0f} on average): gap {100 * plan.gap:.2f} %, "
        f"{seconds:.0f} s of work in {passed:.0f} s, {plan.n_rounds} rounds"
    )
    assert (np.sum([c.hours for c in plan.courses], axis=0) <= capacity + 1e-9).all()
    assert plan.gap <= 0.02
    assert seconds <= 60
