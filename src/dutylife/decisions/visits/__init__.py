"""Intervals to visits: months by an integer programme, weeks by an assignment, days in them."""

from dutylife.decisions.visits.kept import visits_kept
from dutylife.decisions.visits.opportunity import opportunities
from dutylife.decisions.visits.plan import plan_visits, visit_tables

__all__ = ["opportunities", "plan_visits", "visit_tables", "visits_kept"]
