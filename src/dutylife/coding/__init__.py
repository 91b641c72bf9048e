"""Service lines to maintenance events: component, activity, reason, finding."""

from dutylife.coding.as_read import TextsAsRead, texts_as_read
from dutylife.coding.coder import code_lines
from dutylife.coding.review import review_csv

__all__ = ["TextsAsRead", "code_lines", "review_csv", "texts_as_read"]
