"""Laws and costs to intervals and visits."""

from dutylife.decisions.age import age_replacement
from dutylife.decisions.age_advice import replacement_advice
from dutylife.decisions.age_cells import cell_optima
from dutylife.decisions.age_result import AgeReplacement
from dutylife.decisions.age_table import optimal_ages
from dutylife.decisions.age_weibull import AgeReplacementDraws, age_replacement_weibull
from dutylife.decisions.block import BlockReplacement, block_replacement
from dutylife.decisions.block_draws import block_replacement_weibull
from dutylife.decisions.failure_finding import FailureFindingInterval, failure_finding_interval
from dutylife.decisions.intervals import recommend_intervals
from dutylife.decisions.joint import JointIntervals, joint_intervals
from dutylife.decisions.joint_bounds import power_of_two_bound
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
from dutylife.decisions.visits import plan_visits

__all__ = [
    "AgeReplacement",
    "AgeReplacementDraws",
    "BlockReplacement",
    "FailureFindingInterval",
    "InspectionInterval",
    "ReadingVerdict",
    "JointIntervals",
    "Life",
    "RenewalFunction",
    "age_replacement",
    "age_replacement_weibull",
    "block_replacement",
    "block_replacement_weibull",
    "cell_optima",
    "delay_from_looks",
    "failure_finding_interval",
    "inspection_interval",
    "judge_reading",
    "judge_readings",
    "joint_intervals",
    "known_life",
    "measuring_interval",
    "optimal_ages",
    "plan_visits",
    "power_of_two_bound",
    "recommend_intervals",
    "renewal_counts",
    "renewal_function",
    "replacement_advice",
    "share_failing_before_look",
]
