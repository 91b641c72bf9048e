"""What is taken for a life before the record can tell: a weak prior, stated."""

import math
from dataclasses import dataclass

import numpy as np

from dutylife.components import Component, Task
from dutylife.models.draws import Prior
from dutylife.models.pooling.priors import LOG_SHAPE_MEAN, LOG_SHAPE_SD
from dutylife.settings import Settings

# the age by which one in ten has failed is known within a factor of about 3 either way
LOG_LIFE_SD = 0.7
# a component without any starting interval: one in ten has failed within a year
UNKNOWN_LIFE_DAYS = 365.0
# use where nothing tells it: a middle figure of "truck, covered at night, 3 to 15 h a week"
UNKNOWN_HOURS_PER_WEEK = 9.0
LOOKING = ("inspect", "measure", "clean", "test")


@dataclass(frozen=True, slots=True)
class StartingLife:
    """Age by which one in ten is taken to have failed, on a clock, and where it comes from."""

    b10: float
    task: str
    mark: str


def starting_life(
    component: Component, duty: str, clock: str, hours_per_week: float, settings: Settings
) -> StartingLife:
    """Age by which one in ten is taken to have failed.

    The starting interval of replacing the component; else twice that of looking at it; else a
    year. Severe duties (``[duty] severe``) shorten it by the task's factor. An interval on the
    other clock is carried over by the duty's use, or by 9 h a week where that is not known.
    """
    per_day = (hours_per_week if hours_per_week > 0 else UNKNOWN_HOURS_PER_WEEK) / 7.0
    for names, times in ((("replace",), 1.0), (LOOKING, 2.0)):
        task = component.first_task(*names)
        if task is None:
            continue
        factor = task.severe_factor if duty in settings.duty.severe else 1.0
        return StartingLife(times * factor * _on(task, clock, per_day), task.task, task.mark)
    year = UNKNOWN_LIFE_DAYS * (per_day if clock == "hours" else 1.0)
    return StartingLife(year, "", "our proposal")


def _on(task: Task, clock: str, per_day: float) -> float:
    hours, days = task.interval_hours, task.interval_days
    if clock == "hours":
        return hours if hours is not None else (days or UNKNOWN_LIFE_DAYS) * per_day
    return days if days is not None else (hours or UNKNOWN_LIFE_DAYS * per_day) / per_day


def starting_prior(life: StartingLife) -> Prior:
    """Shape and the age by which one in ten has failed, independent, both lognormal.

    The scale follows from both: scale = b10 / (-log 0.9)^(1/shape). So a draw with early failures
    and a draw with late ones agree on what the starting interval says.
    """
    mean = np.array([LOG_SHAPE_MEAN, math.log(life.b10)])
    return Prior(mean, np.diag([LOG_SHAPE_SD**2, LOG_LIFE_SD**2]))
