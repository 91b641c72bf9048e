"""Visits of a large fleet: hours held, limits kept, everything due placed or counted."""

import numpy as np
import pandas as pd
import pytest

from dutylife.decisions import recommend_intervals, visit_tables
from dutylife.decisions.visits import plan
from dutylife.decisions.visits.levelled import level_visits
from dutylife.decisions.visits.weeks import weeks_ahead
from dutylife.errors import DecisionError
from dutylife.settings import settings_from

AS_OF = pd.Timestamp("2026-03-15")


def made(n=300, seed=1, hurts=0.2):
    """Tasks of machines: due days, intervals, limits of those that can hurt."""
    rng = np.random.default_rng(seed)
    unit = np.repeat([f"M{i:04d}" for i in range(n)], 4)
    period = rng.uniform(20, 400, 4 * n)
    limit = np.where((rng.random(4 * n) < hurts) & (np.arange(4 * n) % 4 < 2), period, np.nan)
    due = rng.uniform(-60, 400, 4 * n)
    return pd.DataFrame(
        {
            "unit_id": unit, "component": np.tile(["a", "b", "b", "c"], n),
            "task": np.tile(["replace", "replace", "inspect", "clean"], n),
            "due_days": due, "period_days": period, "limit_days": limit,
            "limit_due_days": np.where(np.isnan(limit), np.nan, due),
            "own_visit": np.tile([True, True, True, False], n),
            "labour_hours": rng.uniform(0.2, 2.0, 4 * n),
        }
    )  # fmt: skip


def levelled(due, hours=None, shut=()):
    weeks = weeks_ahead(
        AS_OF, settings_from({"workshop": {"hours_per_week": hours} if hours else {}})
    )
    machine, names = pd.factorize(due["unit_id"])
    is_open = np.repeat(weeks.open_to(list(shut))[None, :], len(names), axis=0)
    return weeks, level_visits(due, weeks, is_open, machine)


def week_of(weeks, done):
    first = np.array([d[0] for d in weeks.days])
    return np.searchsorted(first, done["day"].to_numpy(), side="right") - 1


@pytest.mark.parametrize("hours", [None, 220.0, 160.0])
def test_no_week_takes_more_than_its_hours(hours):
    weeks, found = levelled(made(), hours)
    load = np.bincount(week_of(weeks, found.done), found.done["labour_hours"], len(weeks.days))
    if hours is None:
        assert found.n_waiting == 0
    else:
        assert (load <= weeks.hours + 1e-9).all()
    assert (load > 0).sum() > 20


@pytest.mark.parametrize("hours", [None, 220.0, 160.0])
def test_what_can_hurt_is_never_past_its_day(hours):
    weeks, found = levelled(made(), hours)
    done = found.done[found.done["limit_days"].notna()]
    first = done.sort_values("day").drop_duplicates(["unit_id", "component", "task"])
    in_time = first["limit_due_days"] >= weeks.days[0][0]
    assert in_time.sum() > 20
    assert (first["day"] <= first["limit_due_days"])[in_time].all()
    gaps = done.sort_values("day").groupby(["unit_id", "component", "task"])["day"].diff()
    assert (gaps.dropna() <= done["limit_days"].loc[gaps.dropna().index]).all()


def test_everything_due_is_done_on_a_working_day_once_and_none_too_late_without_a_limit():
    due = made()
    weeks, found = levelled(due)
    own = due[due["own_visit"] & (due["due_days"] <= weeks.n_days)]
    named = ["unit_id", "component", "task"]
    # a look is not due once the part it looks at was changed
    looked = own["task"] == "replace"
    first = found.done.groupby(named)["day"].min().rename("day").reset_index()
    both = own[looked].merge(first, on=named, how="left")
    assert both["day"].notna().all()
    late = both["day"] > np.maximum(both["due_days"], weeks.days[0][-1])
    assert not late.any()
    assert set(found.done["day"]) <= {float(d) for days in weeks.days for d in days}
    assert not found.done.duplicated([*named, "day"]).any()


def test_shut_weeks_stay_empty():
    weeks, found = levelled(made(), shut=[15, 16])
    assert not np.isin(weeks.iso[week_of(weeks, found.done)], [15, 16]).any()
    assert found.n_waiting == 0


def test_too_few_hours_for_what_can_hurt_names_machine_day_and_key():
    with pytest.raises(DecisionError, match=r"of M\d+ may not be later than 2026-") as told:
        levelled(made(hurts=0.9), 20.0)
    assert "hours_per_week" in str(told.value)


def test_a_fleet_past_the_programme_says_so_and_gets_its_visits(monkeypatch, fleet):
    def tables():
        made = recommend_intervals(
            fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
            fleet.maintenance_events, fleet.unit_spans, fleet.settings,
        )  # fmt: skip
        return visit_tables(
            made["intervals"], made["costs"], fleet.failure_events, fleet.maintenance_events,
            fleet.units, fleet.unit_spans, fleet.settings, fleet.life_draws,
        )  # fmt: skip

    weighed = tables()
    monkeypatch.setattr(plan, "MOST_MACHINES", 3)
    levelled = tables()
    assert weighed["findings"].empty
    assert "levelled" in levelled["findings"]["message"].iloc[0]
    one, two = (set(t["visit_plan"]["unit_id"]) for t in (weighed, levelled))
    assert len(two) >= 0.9 * len(one)
    assert len(weighed["machine_tasks"]) == len(levelled["machine_tasks"])
