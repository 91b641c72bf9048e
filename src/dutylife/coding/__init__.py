"""Service lines to maintenance events: component, activity, reason, finding."""

from dutylife.coding.coder import code_lines

__all__ = ["code_lines"]
