"""Service lines to maintenance events: component, activity, reason, finding."""

from dutylife.coding.as_read import TextsAsRead, texts_as_read
from dutylife.coding.coder import code_lines
from dutylife.coding.complaints import Sign, complaint_signs
from dutylife.coding.review import review_csv

__all__ = [
    "Sign", "TextsAsRead", "code_lines", "complaint_signs", "review_csv", "texts_as_read",
]  # fmt: skip
