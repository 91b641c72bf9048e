"""Measured values in work texts: what was measured, on which component, before or after work."""

from dutylife.coding.readings.attach import Value, text_readings
from dutylife.coding.readings.limits import is_rejected
from dutylife.coding.readings.rows import reading_table

__all__ = ["Value", "is_rejected", "reading_table", "text_readings"]
