"""Condition readings over age: drift that differs from part to part, and ages at a limit."""

from dutylife.models.paths.crossings import crossing_ages
from dutylife.models.paths.fitting import path_model
from dutylife.models.paths.law import PathModel
from dutylife.models.paths.table import PartReadings, readings_by_part

__all__ = ["PartReadings", "PathModel", "crossing_ages", "path_model", "readings_by_part"]
