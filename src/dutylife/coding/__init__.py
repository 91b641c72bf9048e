"""Service lines to maintenance events: component, activity, reason, finding."""

from dutylife.coding.coder import code_lines
from dutylife.coding.complaints import Sign, complaint_signs
from dutylife.coding.review import review_csv

__all__ = ["Sign", "code_lines", "complaint_signs", "review_csv"]
