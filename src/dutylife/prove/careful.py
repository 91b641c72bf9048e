"""Companions that read every event perfectly: a careful analyst's fits, and naive averages."""

import math
from dataclasses import dataclass, field

import numpy as np

from dutylife.errors import FitError
from dutylife.models import LifeLaw, fit_law
from dutylife.practice import PracticeFleet
from dutylife.prove.truth import TrueCell

FEWEST_FAILURES = 3
NAIVE_SHARE = 0.8  # of the mean age of the failed: our proposal for what a hurried shop would do


@dataclass(slots=True)
class ReadLives:
    """Ages of the lives of one cell on the law's clock, as read from perfect events."""

    exit: list[float] = field(default_factory=list)
    failed: list[bool] = field(default_factory=list)

    @property
    def n_failed(self) -> int:
        """Failures among them."""
        return sum(self.failed)

    @property
    def failed_ages(self) -> list[float]:
        """Ages of those that failed."""
        return [a for a, f in zip(self.exit, self.failed, strict=True) if f]


def read_lives(
    fleet: PracticeFleet, cells: dict[tuple[str, str], TrueCell]
) -> dict[tuple[str, str], ReadLives]:
    """Lives of each cell whose begin the record shows, ended at events or at the last visit.

    Parameters
    ----------
    fleet : PracticeFleet
    cells : dict of (component, duty) to TrueCell

    Returns
    -------
    dict of (component, duty) to ReadLives
        Meters are perfect. First lives of machines older than the record are left out; machines
        are watched to their last visit, not to the export's last day. A life counts whole in the
        duty it ended in.
    """
    out = {key: ReadLives() for key in cells}
    begun: dict[tuple[int, str], tuple[float, float]] = {}
    last: dict[int, tuple[float, float]] = {}
    for machine in fleet.machines:
        if machine.in_service >= fleet.span.start:
            for component in machine.components:
                begun[machine.index, component] = (machine.in_service, 0.0)
    for visit in fleet.visits:
        if visit.day >= fleet.span.end:
            continue
        index = visit.machine.index
        last[index] = (visit.day, visit.meter_hours)
        for work in visit.works:
            if work.activity not in ("replace", "clean"):
                continue
            key = (work.component, visit.machine.spell_at(visit.day).duty)
            failed = work.reason == "failure" and not work.is_comeback
            _end(out, cells, key, begun.get((index, work.component)), last[index], failed)
            begun[index, work.component] = last[index]
    machine_of = {machine.index: machine for machine in fleet.machines}
    for (index, component), start in sorted(begun.items()):
        if index in last:
            key = (component, machine_of[index].spell_at(last[index][0]).duty)
            _end(out, cells, key, start, last[index], False)
    return out


def _end(
    out: dict[tuple[str, str], ReadLives],
    cells: dict[tuple[str, str], TrueCell],
    key: tuple[str, str],
    start: tuple[float, float] | None,
    end: tuple[float, float],
    failed: bool,
) -> None:
    if start is None or key not in cells:
        return
    at = 1 if cells[key].clock == "hours" else 0
    age = end[at] - start[at]
    if age > 0:
        out[key].exit.append(age)
        out[key].failed.append(failed)


def careful_law(lives: ReadLives) -> LifeLaw | None:
    """Plain Weibull law by maximum likelihood; None under 3 failures or without a maximum."""
    if lives.n_failed < FEWEST_FAILURES:
        return None
    try:
        return fit_law("weibull", np.array(lives.exit), np.array(lives.failed))
    except FitError:  # all failures at one age: such an analyst would wait, too
        return None


def naive_age(lives: ReadLives) -> float:
    """Replace at 80 % of the mean age of the failed, whatever the law; never without a failure."""
    ages = lives.failed_ages
    return NAIVE_SHARE * float(np.mean(ages)) if ages else math.inf
