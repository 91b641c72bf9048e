"""Each change a what-if can make, by its name: a ground in, the changed ground and words out."""

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from dutylife.components import short_name
from dutylife.decisions.comparison.policies import Look, Spacing
from dutylife.decisions.comparison.renewals import Away
from dutylife.decisions.comparison.standing import StandingCell
from dutylife.decisions.comparison.streams import uniforms
from dutylife.decisions.starting import looks_of, warning_of
from dutylife.decisions.what_if_contract import with_contract
from dutylife.decisions.what_if_ground import (
    Ground,
    weighed_anew,
    with_cells,
    with_policies,
    with_terms,
)
from dutylife.errors import DecisionError
from dutylife.wording import number

Changed = tuple[Ground, str]


def lost_day_cost(ground: Ground, value: Any) -> Changed:
    """A lost day costs so much, with every customer."""
    price = _amount("lost_day_cost", value)
    _need_lost_days(ground, "lost_day_cost")
    terms = {
        key: replace(t, failure_cost=t.failure_cost - t.lost_cost + price * t.lost_days,
                     lost_cost=price * t.lost_days)
        for key, t in ground.terms.cells.items()
    }  # fmt: skip
    changed = with_terms(ground, terms)
    words = f"a lost day costs {number(price)} {ground.settings.fleet.currency}".rstrip()
    return weighed_anew(changed, list(changed.standing.cells)), words


def lost_days_per_failure(ground: Ground, value: Any) -> Changed:
    """A failure takes so many days; the price of a day stays."""
    days = _amount("lost_days_per_failure", value)
    terms = {}
    for key, t in ground.terms.cells.items():
        known = t.lost_days > 0
        lost = t.lost_cost * days / t.lost_days if known else t.lost_cost
        terms[key] = replace(
            t, lost_days=days, failure_cost=t.failure_cost - t.lost_cost + lost, lost_cost=lost
        )
    lacking = replace(ground.terms, cells=terms, no_lost_days=())
    changed = replace(ground, terms=lacking)
    return weighed_anew(changed, list(changed.standing.cells)), f"a failure takes {days:g} days"


def loaner_at_hand(ground: Ground, value: Any) -> Changed:
    """A loaner stands in: no day is lost, a failure costs the work and the visit alone."""
    if not isinstance(value, bool):
        raise _bad("loaner_at_hand", value, "True or False")
    if not value:
        return ground, ""
    terms = {
        key: replace(
            t, failure_cost=t.failure_cost - t.lost_cost, lost_cost=0.0,
            lost_days=0.0 if math.isfinite(t.lost_days) else t.lost_days,
        )
        for key, t in ground.terms.cells.items()
    }  # fmt: skip
    changed = with_terms(ground, terms)
    return weighed_anew(changed, list(changed.standing.cells)), "a loaner is at hand"


def hours_factor(ground: Ground, value: Any) -> Changed:
    """Every machine runs so many times as much; ages in hours stay, those in days too."""
    factor = _factor("hours_factor", value)
    cells = []
    for cell in ground.standing.cells:
        use = cell.use_per_week * factor
        if cell.on_meter:
            cell = replace(
                cell, age_days=cell.age_days / factor, counted_days=cell.counted_days / factor,
                seen_days=cell.seen_days / factor, days_per_unit=cell.days_per_unit / factor,
            )  # fmt: skip
        cells.append(replace(cell, use_per_week=use))
    changed = with_cells(ground, cells)
    fleet = replace(changed.standing, use_per_week=ground.standing.use_per_week * factor)
    return replace(changed, standing=fleet), f"machines run {number(factor)} times as much"


def new_contract(ground: Ground, value: Any) -> Changed:
    """New machines in a duty of the record."""
    given = _keys("new_contract", value, {"duty", "n_machines"},
                  {"hours_per_week", "equipment_class"})  # fmt: skip
    duty = _one_of("new_contract: duty", given["duty"], sorted(set(ground.standing.duty)))
    n = given["n_machines"]
    if not isinstance(n, int) or isinstance(n, bool) or not 1 <= n <= 20_000:
        raise _bad("new_contract: n_machines", n, "a whole number of machines, 1 or more")
    use = given.get("hours_per_week")
    use = None if use is None else _factor("new_contract: hours_per_week", use)
    kind = given.get("equipment_class")
    if kind is not None:
        here = {c for c, d in zip(ground.standing.equipment_class, ground.standing.duty,
                                  strict=True) if d == duty}  # fmt: skip
        kind = _one_of("new_contract: equipment_class", kind, sorted(here))
    return with_contract(ground, duty, n, use, kind), f"{n} new machines in {duty}"


def longer_life(ground: Ground, value: Any) -> Changed:
    """A part that lasts so many times as long, at an extra cost each."""
    given = _keys("longer_life", value, {"component", "factor"}, {"extra_cost"})
    name = _component(ground, "longer_life: component", given["component"])
    factor = _factor("longer_life: factor", given["factor"])
    extra = _amount("longer_life: extra_cost", given.get("extra_cost", 0.0))
    terms = {
        c.key: replace(
            (t := ground.terms.cells[c.key]), planned_cost=t.planned_cost + extra,
            failure_cost=t.failure_cost + extra, purchase_cost=t.purchase_cost + extra,
        )
        for c in ground.cells(name)
    }  # fmt: skip
    changed = _lasting(with_terms(ground, terms), ground.cells(name), factor)
    more = f" for {number(extra)} more each" if extra else ""
    return changed, f"{name} lasting {number(factor)} times as long{more}"


def cover(ground: Ground, value: Any) -> Changed:
    """A pre-cleaner or cover: the lives of a duty's components grow by a stated factor."""
    given = _keys("cover", value, {"duty", "factor"}, {"components"})
    duty = _one_of("cover: duty", given["duty"], sorted({c.duty for c in ground.standing.cells}))
    factor = _factor("cover: factor", given["factor"])
    names = given.get("components")
    names = [names] if isinstance(names, str) else names
    picked = [_component(ground, "cover: components", n) for n in names or []]
    cells = [c for c in ground.cells(duty=duty) if not picked or c.component.name in picked]
    if not cells:
        raise DecisionError(
            f"No machine in {duty} has {', '.join(picked)}.", "what_if: cover: components",
            "name components of that duty, or leave them out for all",
        )  # fmt: skip
    what = f"{', '.join(picked)} in {duty}" if picked else f"parts in {duty}"
    words = f"{what} under a cover, lives {number(factor)} times as long (as stated)"
    return _lasting(ground, cells, factor), words


def measure_instead(ground: Ground, value: Any) -> Changed:
    """Measure (or look) at half the warning time instead of changing by age."""
    name = _component(ground, "measure_instead", value)
    policies = {}
    task = ""
    for cell in ground.cells(name):
        starts = looks_of(cell.component, severe=cell.severe)
        warning = warning_of(cell.component, severe=cell.severe)
        if not starts or warning is None:
            raise DecisionError(
                f"There is nothing to measure or look at on a {name} before it fails.",
                "what_if: measure_instead", "name a component that has a look in components.toml",
            )  # fmt: skip
        chosen = next((s for s in starts if s.task == "measure"), starts[0])
        task = chosen.task
        half = Spacing(hours=_half(warning.hours), days=_half(warning.days))
        look = Look(
            task=task, spacing=half, warning=Spacing(hours=warning.hours, days=warning.days),
            own_visit=True, can_hurt=bool(cell.component.can_hurt),
        )  # fmt: skip
        policy = ground.plan.policies[cell.key]
        if policy.is_safety:
            raise DecisionError(
                f"A {name} can hurt someone ({cell.component.can_hurt}): its change stays.",
                "what_if: measure_instead", "name a component that can't hurt",
            )  # fmt: skip
        others = tuple(k for k in policy.looks if k.task != task)
        policies[cell.key] = replace(policy, change_at=None, looks=(*others, look))
    return with_policies(ground, policies), f"{task} the {name} instead of changing it by age"


def skip_task(ground: Ground, value: Any) -> Changed:
    """Leave out a task, as "replace air filter", or all tasks of a component."""
    if not isinstance(value, str):
        raise _bad("skip_task", value, "text as 'replace air filter', or a component's name")
    first, _, rest = value.partition(" ")
    tasks = ("replace", "inspect", "measure", "clean", "test")
    name = _component(ground, "skip_task", rest if first in tasks else value)
    wanted = (first,) if first in tasks else tasks
    policies = {}
    for cell in ground.cells(name):
        if cell.component.can_hurt:
            raise DecisionError(
                f"A {name} can hurt someone ({cell.component.can_hurt}): no task of it is dropped.",
                "what_if: skip_task", "name a task of a component that can't hurt",
            )  # fmt: skip
        policy = ground.plan.policies[cell.key]
        looks = tuple(k for k in policy.looks if k.task not in wanted)
        changed = replace(policy, looks=looks)
        if "replace" in wanted:
            changed = replace(changed, change_at=None)
        if changed != policy:
            policies[cell.key] = changed
    if not policies:
        raise DecisionError(
            f"The plan has no such task: '{value}'.", "what_if: skip_task",
            f"a task of the {name} that the plan makes ({_tasks_of(ground, name)})",
        )  # fmt: skip
    words = f"'{first} {name}' is skipped" if first in tasks else f"no task of the {name} is done"
    return with_policies(ground, policies), words


def hire_out_days(ground: Ground, value: Any) -> Changed:
    """Machines are hired out so many days at a stretch and come in only in between."""
    days = _factor("hire_out_days", value)
    share = uniforms(ground.standing.keys, np.zeros(1, dtype=np.int64), 1)
    words = f"machines are hired out {days:g} days at a stretch"
    return replace(ground, away=Away(days=days, phase=-share * days)), words


def cost_a_year(ground: Ground, value: Any) -> Changed:
    """What the change itself costs in a year."""
    return replace(ground, cost_a_year=_amount("cost_a_year", value)), ""


CHANGES: dict[str, Callable[[Ground, Any], Changed]] = {
    f.__name__: f
    for f in (
        lost_days_per_failure, lost_day_cost, loaner_at_hand, hours_factor, longer_life, cover,
        measure_instead, skip_task, hire_out_days, new_contract, cost_a_year,
    )
}  # fmt: skip


def _lasting(ground: Ground, cells: list[StandingCell], factor: float) -> Ground:
    new = [replace(c, scale=c.scale * factor) for c in cells]
    longest = {**ground.longest}
    longest |= {c.key: longest[c.key] * factor for c in cells if c.key in longest}
    return weighed_anew(replace(with_cells(ground, new), longest=longest), new)


def _tasks_of(ground: Ground, name: str) -> str:
    found = set()
    for cell in ground.cells(name):
        policy = ground.plan.policies[cell.key]
        found |= {"replace"} if policy.change_at is not None else set()
        found |= {look.task for look in policy.looks}
    return ", ".join(sorted(found)) or "none"


def _need_lost_days(ground: Ground, key: str) -> None:
    if ground.terms.no_lost_days:
        raise DecisionError(
            "How many days a failure takes is not known.", f"what_if: {key}",
            "state lost_days_per_failure in [costs.default], or give it here as well: "
            "what_if(..., lost_days_per_failure=2)",
        )  # fmt: skip


def _half(value: float | None) -> float | None:
    return None if value is None else value / 2


def _amount(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < math.inf:
        raise _bad(key, value, "a number, 0 or more")
    return float(value)


def _factor(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < math.inf:
        raise _bad(key, value, "a number above 0")
    return float(value)


def _bad(key: str, value: Any, wanted: str) -> DecisionError:
    return DecisionError(f"'{value}' can't be {key}.", f"what_if: {key}", f"give {wanted}")


def _keys(key: str, value: Any, needed: set[str], more: set[str]) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise _bad(key, value, f"a dictionary with {', '.join(sorted(needed))}")
    unknown, missing = set(value) - needed - more, needed - set(value)
    if unknown or missing:
        word = f"unknown: {', '.join(map(str, sorted(unknown)))}" if unknown else ""
        gone = f"missing: {', '.join(sorted(missing))}" if missing else ""
        raise DecisionError(
            f"{key} is not understood ({'; '.join(w for w in (word, gone) if w)}).",
            f"what_if: {key}", f"keys are {', '.join(sorted(needed))}; and, if wanted, "
            + (", ".join(sorted(more)) or "no more"),
        )  # fmt: skip
    return dict(value)


def _one_of(key: str, value: Any, known: Iterable[str]) -> str:
    names = list(known)
    if value in names:
        return str(value)
    near = difflib.get_close_matches(str(value), names, n=1, cutoff=0.4)
    raise DecisionError(
        f"'{value}' is not known to this run.", f"what_if: {key}",
        (f"did you mean '{near[0]}'? " if near else "") + "known: " + ", ".join(names[:12]),
    )  # fmt: skip


def _component(ground: Ground, key: str, value: Any) -> str:
    known = {c.component.name: c.component for c in ground.standing.cells}
    return short_name(str(value), known) or _one_of(key, value, sorted(known))
