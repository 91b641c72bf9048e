"""A fleet with known life laws, and the messy export a shop would have of it."""

from dutylife.practice.difficulties import DIFFICULTIES, strengths_of, without_difficulties
from dutylife.practice.export import make_practice, write_practice
from dutylife.practice.laws import law_survival
from dutylife.practice.truth import PracticeFleet, simulate_fleet

__all__ = [
    "DIFFICULTIES",
    "PracticeFleet",
    "law_survival",
    "make_practice",
    "simulate_fleet",
    "strengths_of",
    "without_difficulties",
    "write_practice",
]
