"""Laws and costs to intervals and visits."""

from dutylife.decisions.age import AgeReplacement, age_replacement
from dutylife.decisions.age_weibull import AgeReplacementDraws, age_replacement_weibull
from dutylife.decisions.intervals import recommend_intervals
from dutylife.decisions.looks import (
    InspectionInterval,
    failure_finding_interval,
    inspection_interval,
    share_failing_before_look,
)
from dutylife.decisions.reading_verdict import ReadingVerdict, judge_reading, judge_readings
from dutylife.decisions.visits import plan_visits

__all__ = [
    "AgeReplacement",
    "AgeReplacementDraws",
    "InspectionInterval",
    "ReadingVerdict",
    "age_replacement",
    "age_replacement_weibull",
    "failure_finding_interval",
    "inspection_interval",
    "judge_reading",
    "judge_readings",
    "plan_visits",
    "recommend_intervals",
    "share_failing_before_look",
]
