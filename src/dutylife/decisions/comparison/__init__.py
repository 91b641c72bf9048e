"""Plans compared on the fleet as it stands, by simulation with the same luck for each."""

from dutylife.decisions.comparison.compare import PlanComparison, compare_plans, comparison_sentence

__all__ = ["PlanComparison", "compare_plans", "comparison_sentence"]
