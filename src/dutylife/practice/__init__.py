"""A fleet with known life laws, and the messy export a shop would have of it."""

from dutylife.practice.export import make_practice
from dutylife.practice.truth import PracticeFleet, simulate_fleet

__all__ = ["PracticeFleet", "make_practice", "simulate_fleet"]
