"""Starting tasks, warning times and limits of a component, as a duty meets them."""

from dataclasses import dataclass, replace

from dutylife.components import Component, Task
from dutylife.vocabulary import WORDS
from dutylife.vocabulary.spans import DAYS_PER_MONTH

LOOKS = ("inspect", "measure", "clean", "test")
# under this a task belongs to the operator, every day or week, and is no shop visit
OPERATOR_DAYS = 14.0
OPERATOR_HOURS = 20.0
_HURT_LOOK = Task(
    task="inspect",
    action="check by a competent person",
    interval_months=12.0,
    mark="our proposal",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A starting task in one duty: spacing, mark, and what to look for."""

    task: str
    hours: float | None
    days: float | None
    mark: str
    checks: tuple[Task, ...]

    @property
    def is_operator_check(self) -> bool:
        """Done daily or weekly by whoever runs the machine."""
        short_days = self.days is not None and self.days < OPERATOR_DAYS
        return short_days or (self.hours is not None and self.hours < OPERATOR_HOURS)


@dataclass(frozen=True, slots=True, kw_only=True)
class WarningTime:
    """Time from detectable to failed, in the unit it is stated in, and where it comes from."""

    hours: float | None
    days: float | None
    mark: str
    stated: bool
    source: str = ""  # in words, where it is not a mark


def looks_of(component: Component, *, severe: bool) -> list[Start]:
    """Starting looks, one for each kind of task, the one a visit is made for first.

    A component that can hurt and has none gets a yearly inspection, our proposal.
    """
    found = [_start(component, word, severe=severe) for word in LOOKS]
    looks = [s for s in found if s is not None]
    looks.sort(key=lambda s: (s.is_operator_check, -(s.days or 0.0), -(s.hours or 0.0)))
    if component.can_hurt and all(s.is_operator_check for s in looks):
        # a daily look by the operator is no inspection by someone who may take it apart
        taken = {s.task for s in looks}
        word = next(w for w in ("inspect", "test", "clean", "measure") if w not in taken)
        looks.insert(0, _scaled(replace(_HURT_LOOK, task=word), (), severe=False))
    return looks


def replacement_of(component: Component, *, severe: bool) -> Start | None:
    """Starting replacement, None when the list has none."""
    return _start(component, "replace", severe=severe)


def warning_of(component: Component, *, severe: bool) -> WarningTime | None:
    """WarningTime time; where none is stated, twice the starting spacing of looks."""
    looks = looks_of(component, severe=severe)
    if component.warning_hours is not None or component.warning_days is not None:
        factor = _factor(component, looks) if severe else 1.0
        return WarningTime(
            hours=_times(component.warning_hours, factor),
            days=_times(component.warning_days, factor),
            mark=component.warning_mark,
            stated=True,
        )
    if not looks:
        return None
    main = looks[0]
    return WarningTime(
        hours=_times(main.hours, 2.0),
        days=_times(main.days, 2.0),
        mark="our proposal",
        stated=False,
    )


def _start(component: Component, word: str, *, severe: bool) -> Start | None:
    tasks = [
        t for t in component.tasks
        if t.task == word and (t.interval_hours is not None or t.interval_months is not None)
    ]  # fmt: skip
    if not tasks:
        return None
    # run-in changes and daily looks come first in the list; the standing task is the longest
    main = max(tasks, key=lambda t: (t.interval_months or 0.0, t.interval_hours or 0.0))
    same = tuple(
        t for t in tasks
        if (t.interval_hours, t.interval_months) == (main.interval_hours, main.interval_months)
    )  # fmt: skip
    return _scaled(main, same, severe=severe)


def _scaled(task: Task, checks: tuple[Task, ...], *, severe: bool) -> Start:
    factor = task.severe_factor if severe else 1.0
    months = _times(task.interval_months, DAYS_PER_MONTH)
    return Start(
        task=task.task,
        hours=_times(task.interval_hours, factor),
        days=_times(months, factor),
        mark=_weaker(task.mark, task.factor_mark) if factor != 1.0 else task.mark,
        checks=checks or (task,),
    )


def _factor(component: Component, looks: list[Start]) -> float:
    if looks:
        return looks[0].checks[0].severe_factor
    return component.tasks[0].severe_factor if component.tasks else 1.0


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _weaker(one: str, other: str) -> str:
    marks = WORDS["mark"]
    return max(one, other, key=marks.index)
