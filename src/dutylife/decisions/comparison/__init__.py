"""Plans compared on the fleet as it stands, by simulation with the same luck for each."""

from dutylife.decisions.comparison.compare import (
    PlanComparison,
    SimulatedPlans,
    compare_plans,
    comparison_sentence,
    simulate_plans,
)

__all__ = [
    "PlanComparison",
    "SimulatedPlans",
    "compare_plans",
    "comparison_sentence",
    "simulate_plans",
]
