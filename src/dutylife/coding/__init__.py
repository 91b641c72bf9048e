"""Service lines to maintenance events: component, activity, reason, finding."""

from dutylife.coding.coder import code_lines
from dutylife.coding.review import review_csv

__all__ = ["code_lines", "review_csv"]
