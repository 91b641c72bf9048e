"""Laws and costs to intervals and visits."""

from dutylife.decisions.age import age_replacement
from dutylife.decisions.age_advice import replacement_advice
from dutylife.decisions.age_cells import cell_optima
from dutylife.decisions.age_result import AgeReplacement
from dutylife.decisions.age_table import optimal_ages
from dutylife.decisions.age_weibull import AgeReplacementDraws, age_replacement_weibull
from dutylife.decisions.block import BlockReplacement, block_replacement
from dutylife.decisions.block_draws import block_replacement_weibull
from dutylife.decisions.causes import LikelyCauses, likely_causes
from dutylife.decisions.coming_year import coming_year
from dutylife.decisions.comparison import PlanComparison, compare_plans, simulate_plans
from dutylife.decisions.failure_finding import FailureFindingInterval, failure_finding_interval
from dutylife.decisions.intervals import recommend_intervals
from dutylife.decisions.joint import JointIntervals, joint_intervals
from dutylife.decisions.joint_bounds import power_of_two_bound
from dutylife.decisions.keep_or_retire import KeepOrRetire, keep_or_retire
from dutylife.decisions.life import Life, known_life
from dutylife.decisions.looks import (
    InspectionInterval,
    inspection_interval,
    share_failing_before_look,
)
from dutylife.decisions.looks_seen import delay_from_looks
from dutylife.decisions.measuring import measuring_interval
from dutylife.decisions.reading_verdict import ReadingVerdict, judge_reading, judge_readings
from dutylife.decisions.renewal import RenewalFunction, renewal_function
from dutylife.decisions.renewal_counts import renewal_counts
from dutylife.decisions.visits import opportunities, plan_visits, visit_tables, visits_kept
from dutylife.decisions.what_if import WhatIf, what_if
from dutylife.decisions.what_if_ground import what_if_ground

__all__ = [
    "AgeReplacement",
    "AgeReplacementDraws",
    "BlockReplacement",
    "FailureFindingInterval",
    "InspectionInterval",
    "ReadingVerdict",
    "JointIntervals",
    "KeepOrRetire",
    "Life",
    "LikelyCauses",
    "PlanComparison",
    "RenewalFunction",
    "WhatIf",
    "age_replacement",
    "age_replacement_weibull",
    "block_replacement",
    "coming_year",
    "compare_plans",
    "block_replacement_weibull",
    "cell_optima",
    "delay_from_looks",
    "failure_finding_interval",
    "inspection_interval",
    "judge_reading",
    "judge_readings",
    "joint_intervals",
    "keep_or_retire",
    "known_life",
    "likely_causes",
    "opportunities",
    "measuring_interval",
    "optimal_ages",
    "plan_visits",
    "power_of_two_bound",
    "recommend_intervals",
    "renewal_counts",
    "renewal_function",
    "replacement_advice",
    "share_failing_before_look",
    "simulate_plans",
    "visit_tables",
    "visits_kept",
    "what_if",
    "what_if_ground",
]
