"""Coded events and machines to lives: ages on two clocks, censoring, and who is still there."""

from dutylife.lives.build import build_lives
from dutylife.lives.elsewhere import counter_habits
from dutylife.lives.presence import Presence, prob_in_service
from dutylife.lives.reading_ages import age_readings
from dutylife.lives.recurrence import recurrence_gaps

__all__ = [
    "Presence", "age_readings", "build_lives", "counter_habits", "prob_in_service",
    "recurrence_gaps",
]  # fmt: skip
