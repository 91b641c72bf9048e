"""Visits of a plan: what is done together, what goes on beside it, and what each visit uses."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from dutylife.stock.demand import days_ahead
from dutylife.stock.fleet_demand import fleet_demand
from dutylife.stock.planned_visits import VisitUse, done_together, use_of_visits
from dutylife.stock.plans import PlannedAge, PlanRecord, rates_beside

AS_OF = pd.Timestamp("2026-03-15")
AGES = {
    ("belt", "yard"): PlannedAge(hours=None, days=100.0),
    ("filter", "yard"): PlannedAge(hours=None, days=50.0),
    ("hose", "yard"): PlannedAge(hours=70.0, days=None),
}


def in_service(*rows):
    return pd.DataFrame(
        [
            {
                "unit_id": u,
                "component": c,
                "duty": "yard",
                "age_days": d,
                "age_hours": h,
                "use": 7.0,
            }
            for u, c, d, h in rows
        ]
    )  # fmt: skip


def test_work_due_soon_after_is_done_at_the_first_visit():
    lives = in_service(
        ("A", "belt", 90.0, 90.0),  # due in 10 days
        ("A", "filter", 30.0, 30.0),  # in 20: comes along
        ("A", "hose", 46.0, 46.0),  # in 24 hours of use, an hour a day: on the edge
        ("B", "filter", 30.0, 30.0),  # another machine: nothing to come along with
        ("B", "belt", np.nan, np.nan),  # nobody knows
        ("C", "filter", 80.0, 80.0),  # overdue: now
        ("C", "belt", 95.0, 95.0),  # in 5
    )
    sooner, share = done_together(lives, AGES, 14.0)
    assert sooner == pytest.approx([0, 10, 14, 0, 0, 0, 5])
    assert share == pytest.approx(3 / 6)  # three visits for six replacements
    sooner, _ = done_together(lives, AGES, 13.0)
    assert sooner == pytest.approx([0, 10, 0, 0, 0, 0, 5])
    sooner, share = done_together(lives, AGES, 0.0)
    assert sooner == pytest.approx(np.zeros(7))
    assert share == 1.0


def test_without_a_plan_nothing_comes_early():
    sooner, share = done_together(in_service(("A", "belt", 90.0, 90.0)), {}, 14.0)
    assert sooner.tolist() == [0.0]
    assert share == 1.0


def ended(*rows):
    return pd.DataFrame(
        [
            {"unit_id": "A", "component": "belt", "duty": "yard", "event": e, "entry_days": b,
             "exit_days": x, "exit_hours": np.nan}
            for e, b, x in rows
        ]
    )  # fmt: skip


def test_what_goes_on_beside_a_plan_is_counted_where_the_plan_lets_a_part_live():
    lives = ended(
        ("replaced", 0.0, 40.0),
        ("replaced", 0.0, 200.0),  # far past the plan's age: not at ages it reaches
        ("failed", 0.0, 60.0),
        ("running", 50.0, 150.0),  # watched from 50 days of age on
        ("replaced", 0.0, np.nan),  # of unknown age: cannot tell
    )
    seen = rates_beside(lives, AGES, PlanRecord(done=1.0, is_new=True))
    assert seen["belt", "yard"] == pytest.approx([1, 40 + 100 + 60 + 50])
    # under the plan what was replaced near its age was the plan's own work
    lives = ended(("replaced", 0.0, 40.0), ("replaced", 0.0, 97.0), ("failed", 0.0, 90.0))
    seen = rates_beside(lives, AGES, PlanRecord(done=0.9, is_new=False))
    assert seen["belt", "yard"] == pytest.approx([1, 40 + 75 + 75])


def test_use_of_visits_is_what_planned_tickets_took_beside_their_parts():
    day = pd.Timestamp("2026-01-10")
    events = pd.DataFrame(
        [
            ("T1", "replace", "preventive", day), ("T2", "replace", "preventive", day),
            ("T3", "replace", "failure", day), ("T3", "replace", "opportunistic", day),
            ("T4", "inspect", "preventive", day),
            ("T0", "replace", "preventive", pd.Timestamp("2019-01-01")),
        ],
        columns=["ticket", "activity", "reason", "event_date"],
    )  # fmt: skip
    lines = pd.DataFrame(
        [
            ("1", "T1", "part", "OIL", 2.0), ("2", "T2", "part", "OLD-OIL", 1.0),
            ("3", "T3", "part", "OIL", 9.0), ("4", "T0", "part", "OIL", 9.0),
            ("5", "T1", "labour", "OIL", 9.0), ("6", "T1", "part", "BELT", 1.0),
            ("7", "T2", "part", "OIL", -1.0),
        ],
        columns=["line_id", "ticket", "line_kind", "part_number", "quantity"],
    )  # fmt: skip
    use = use_of_visits(lines, events, {"6"}, {"OLD-OIL": "OIL"}, 24.0, AS_OF)
    assert set(use) == {"OIL"}
    assert (use["OIL"].n_lines, use["OIL"].n_visits) == (2.0, 2.0)
    assert sorted(use["OIL"].sizes) == [1.0, 2.0]
    assert use_of_visits(lines, events.iloc[2:5], {"6"}, {}, 24.0, AS_OF) == {}


def test_the_law_of_a_visits_use_is_that_of_visits_played_out():
    """40 further visits, each with a line at a share known from 30 of 60: gamma and Poisson."""
    law = VisitUse(n_lines=30.0, n_visits=60.0, sizes=np.array([1.0, 3.0])).law(40.0)
    rng = np.random.default_rng(4)
    lines = rng.poisson(rng.gamma(30.0, 1 / 60.0, 200_000) * 40.0)
    pieces = np.array([rng.choice([1.0, 3.0], n).sum() for n in lines[:20_000]])
    _, mean, variance = law.spread()
    assert law.mean() == pytest.approx(40.0)
    assert mean == pytest.approx(pieces.mean(), rel=0.02)
    # told wide on purpose, see its docstring, never narrow
    assert pieces.var() * 0.97 < variance < pieces.var() * 1.5


def laws(fleet, plan, lines=None, **changed):
    settings = fleet.settings.model_copy(
        update={"plan": fleet.settings.plan.model_copy(update=changed)}
    )
    found = fleet_demand(
        fleet.failure_events, fleet.life_draws, pd.DataFrame(), fleet.units, fleet.unit_spans,
        fleet.service_lines if lines is None else lines, fleet.maintenance_events,
        fleet.catalogue, settings,
    )  # fmt: skip
    return found.laws(plan, [days_ahead(AS_OF, 180)])


def test_services_go_on_beside_a_plan_that_starts(make):
    """A plan at an age no part reaches changes nothing: what is seen goes on."""
    far = {"air filter": {"hours": 100_000.0}}
    plan = {"in_force": "present_schedule", "from": dt.date(2026, 3, 16)}
    fleet = make(12, settings={"plan": plan, "present_schedule": far})
    planned = laws(fleet, "present_schedule")["AF-12"][0, 180].mean_planned
    seen = make(12, settings={"plan": {"in_force": "as seen"}})
    as_seen = laws(seen, "as seen")["AF-12"][0, 180].mean_planned
    assert as_seen > 0.5
    # the same rate but for lives of unknown age, which cannot tell at what age they were changed
    assert planned == pytest.approx(as_seen, rel=0.25)


def test_visits_of_a_new_plan_take_their_oil(make):
    plan = {"in_force": "present_schedule", "from": dt.date(2026, 3, 16)}
    fleet = make(12, settings={"plan": plan, "present_schedule": {"air filter": {"hours": 60}}})
    tickets = fleet.maintenance_events
    tickets = tickets[(tickets["reason"] != "failure") & (tickets["activity"] == "replace")]
    failed = fleet.maintenance_events["ticket"][fleet.maintenance_events["reason"] == "failure"]
    tickets = sorted(set(tickets["ticket"].astype(str)) - set(failed.astype(str)))
    assert tickets
    first = fleet.service_lines.iloc[[0] * len(tickets)]
    oil = first.assign(
        line_id=[f"oil-{i}" for i in range(len(tickets))], ticket=tickets, part_number="OIL-1",
        line_kind="part", quantity=1.0, service_date=AS_OF - pd.Timedelta(days=90),
    )  # fmt: skip
    lines = pd.concat([fleet.service_lines.astype(object), oil.astype(object)])
    lines = lines.astype({c: t for c, t in fleet.service_lines.dtypes.items() if t.kind in "fM"})
    new = laws(fleet, "present_schedule", lines)
    as_seen = laws(fleet, "as seen", lines, in_force="as seen")
    more = new["OIL-1"][0, 180].mean_other - as_seen["OIL-1"][0, 180].mean_other
    by_age = new["AF-12"][0, 180].mean_planned
    assert by_age > 5
    # a filter a visit here, an oil a visit
    assert 0.5 * by_age < more < 1.2 * by_age
