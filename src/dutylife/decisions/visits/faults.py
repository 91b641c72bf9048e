"""What can't be planned, and which setting to loosen."""

from dutylife.decisions.visits.jobs import Jobs
from dutylife.decisions.visits.weeks import Weeks
from dutylife.errors import DecisionError

SHOWN = 5
Late = list[tuple[int, float]]  # task, last day


def shut(jobs: Jobs, weeks: Weeks, late: Late) -> DecisionError:
    """A customer's weeks leave no day before the limit of what can hurt."""
    owners = sorted({jobs.customer[int(jobs.group[t])] for t, _ in late})
    keys = ", ".join(f'customers."{name}".blackout_weeks' for name in owners)
    return DecisionError(
        f"{_listed(jobs, weeks, late)}: the blackout weeks leave no day for it.",
        keys,
        f"open a week before that date: take its number out of {keys}; work that can hurt never "
        "waits beyond its limit",
    )


def no_hours(jobs: Jobs, weeks: Weeks, late: Late) -> DecisionError:
    """The workshop's hours leave no room before the limit of what can hurt."""
    return DecisionError(
        f"{_listed(jobs, weeks, late)}: the workshop has no hours left before it.",
        "[workshop] hours_per_week",
        "raise hours_per_week; work that can hurt never waits beyond its limit",
    )


def too_long(jobs: Jobs, task: int, hours: float) -> DecisionError:
    """One task takes more than a whole week of the workshop."""
    row = jobs.frame.iloc[task]
    return DecisionError(
        f"'{row['task']} {row['component']}' takes {jobs.hours[task]:g} h, the workshop has "
        f"{hours:g} h in a whole week.",
        "[workshop] hours_per_week",
        f'raise hours_per_week, or correct costs."{row["component"]}".labour_hours',
    )


def _listed(jobs: Jobs, weeks: Weeks, late: Late) -> str:
    shown = [
        f"'{jobs.frame.iloc[t]['task']} {jobs.frame.iloc[t]['component']}' of "
        f"{jobs.frame.iloc[t]['unit_id']} may not be later than {weeks.date(int(day)):%Y-%m-%d}"
        for t, day in late[:SHOWN]
    ]
    more = f" (and {len(late) - SHOWN} more)" if len(late) > SHOWN else ""
    return "; ".join(shown) + more
