"""The questions of the task choice, each answered from the record or the trade's list."""

import math
from dataclasses import dataclass
from typing import Any, Literal

from dutylife.decisions.age_advice import WEARS
from dutylife.decisions.cells import Cell
from dutylife.decisions.hidden_looks import is_hidden
from dutylife.decisions.limits import has_limit
from dutylife.decisions.starting import looks_of
from dutylife.settings import Settings
from dutylife.wording import chances, every, evidence, number, percent

Word = Literal["yes", "no", "not known"]
QUESTIONS = ("safety", "hidden", "on condition", "wear-out", "run to failure")
OPERATOR = "(operator)"
LOOKS = ("inspect", "measure", "clean", "test")
# most parts have to live to the age at which they are changed, or it prevents little
SURVIVE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A question, its answer, the two tests of the task it asks about, and what they stand on."""

    question: str
    answer: Word
    applicable: Word
    effective: Word
    evidence: str
    task: str


def answers_of(
    cell: Cell,
    rows: list[dict[str, Any]],
    costs: dict[str, dict[str, Any]],
    sign: str,
    settings: Settings,
) -> list[Answer]:
    """Answers in the order of the questions, all of them asked."""
    asked = [
        _safety(cell, settings),
        _hidden(cell, rows, settings),
        _on_condition(cell, rows, sign, settings),
        _wear_out(cell, rows, costs, settings),
    ]
    return [*asked, _run_to_failure(cell)]


def _safety(cell: Cell, settings: Settings) -> Answer:
    part, limited = cell.component, has_limit(cell.component)
    task = "replace (at the limit)" if limited else ""
    if part.can_hurt:
        limit = (
            "the maker's or legal limit is "
            + every(part.maker_limit_hours, part.maker_limit_days, "", settings.fleet.meter_unit)
            if limited
            else "no limit is in the settings: ask the maker or a competent person"
        )
        told = f"a failure can hurt someone ({part.can_hurt}); a task is compulsory, money does "
        return _answer("safety", "yes", "yes", "yes", f"{told}not decide; {limit}", task)
    if limited:
        limit = every(part.maker_limit_hours, part.maker_limit_days, "", settings.fleet.meter_unit)
        told = f"nothing on the list says that it can hurt; the maker's or legal limit is {limit}"
        return _answer("safety", "no", "yes", "yes", told, task)
    told = "nothing on the list or in the settings says that a failure can hurt or breaks the law"
    return _answer("safety", "no", "no", "no", told, "")


def _hidden(cell: Cell, rows: list[dict[str, Any]], settings: Settings) -> Answer:
    hidden = cell.component.hidden
    if not is_hidden(cell.component):
        told = f"the list says: {hidden}" if hidden else "a failure shows itself in use"
        return _answer("hidden", "no", "no", "no", told, "")
    look = _first_look(rows)
    if look is None:
        return _answer("hidden", "yes", "no", "no", "hidden, and no test of it is listed", "")
    at = _at(look, settings)
    told = f"nobody misses it until it is needed; {look['task']} {at} ({_stands_on(look)})"
    return _answer("hidden", "yes", "yes", "yes", told, f"{look['task']} (failure finding)")


def _on_condition(cell: Cell, rows: list[dict[str, Any]], sign: str, settings: Settings) -> Answer:
    look = _first_look(rows)
    if look is None or is_hidden(cell.component):
        why = (
            "it is tested for failure, there is no sign before it"
            if look is not None
            else "no look or reading that would show a sign before failure is listed"
        )
        return _answer("on condition", "no", "no", "no", why, "")
    pays = look.get("probability_it_pays")
    at = _at(look, settings)
    if _by_operator(cell, look):
        told = f"{look['task']} {at}, by whoever runs the machine: no visit; it goes on beside any "
        return _answer("on condition", "yes", "yes", "yes", f"{told}task below ({look['mark']})",
                       f"{look['task']} {OPERATOR}")  # fmt: skip
    if pays is None or not math.isfinite(pays):
        worth = f"what a look saves is not known here; stands on: {_stands_on(look)}"
        effective: Word = "yes" if look["mark"] else "not known"
    else:
        effective = "yes" if pays >= 0.5 else "no"
        worth = f"{chances(pays)} that a visit of its own for it costs less than waiting"
    told = f"{sign}; {look['task']} {at}; {worth}"
    return _answer("on condition", "yes", "yes", effective, told, f"{look['task']} (on condition)")


def _wear_out(
    cell: Cell, rows: list[dict[str, Any]], costs: dict[str, dict[str, Any]], settings: Settings
) -> Answer:
    row = next((r for r in rows if r["task"] == "replace"), None)
    cost = costs["replace"]
    if not cell.has_law:
        if row is None:
            told = f"{evidence(cell.n_failed, cell.n_lives)}: the record says too little, and the "
            return _answer("wear-out", "not known", "not known", "not known",
                           told + "trade states no interval", "")  # fmt: skip
        told = (
            f"the trade changes it {_at(row, settings)} ({row['mark']}); "
            f"{evidence(cell.n_failed, cell.n_lives)} here"
        )
        return _answer("wear-out", "not known", "yes", "yes", told, "replace (starting value)")
    wears = cell.probability_wears
    lived = f"risk rises with age: {chances(wears)} ({evidence(cell.n_failed, cell.n_lives)})"
    answer: Word = "yes" if wears >= WEARS else "no"
    if row is None:
        ratio = number(cost["failure_cost"] / cost["planned_cost"], 2)
        told = f"{lived}; {percent(WEARS)} is asked for, and that a change is expected to save "
        told += f"money (a failure costs {ratio} planned changes)"
        return _answer("wear-out", answer, answer, "no", told, "")
    if row["basis"] == "starting value":
        told = f"{lived}; too few to drop what the trade does {_at(row, settings)} ({row['mark']})"
        return _answer("wear-out", answer, "yes", "yes", told, "replace (starting value)")
    at = row["interval_hours"] if cell.clock == "hours" else row["interval_days"]
    left = float(cell.survive(float(at)))
    told = f"{lived}; {percent(left)} live to {_spacing(row, settings)}"
    pays = row.get("probability_it_pays")
    if pays is None or not math.isfinite(pays):
        return _answer("wear-out", answer, answer, "no", f"{told}, the maker's or legal limit", "")
    told += f"; {chances(pays)} that it costs less than waiting"
    if left < SURVIVE:
        told += "; fewer than half live to it, so it prevents little"
    return _answer("wear-out", answer, answer, "yes", told, "replace (by age)")


def _run_to_failure(cell: Cell) -> Answer:
    if cell.component.can_hurt:
        return _answer("run to failure", "no", "no", "no", "never: a failure can hurt someone", "")
    record = evidence(cell.n_failed, cell.n_lives)
    told = f"where no task above can work and pay: hold the spare, or remove the cause ({record})"
    return _answer("run to failure", "yes", "yes", "yes", told, "run to failure")


def _first_look(rows: list[dict[str, Any]]) -> dict[str, Any] | None:
    return next((r for r in rows if r["task"] in LOOKS), None)


def _by_operator(cell: Cell, look: dict[str, Any]) -> bool:
    """The list has it done every few days by whoever runs the machine."""
    listed = looks_of(cell.component, severe=cell.severe)
    return any(s.is_operator_check for s in listed if s.task == look["task"])


def _at(row: dict[str, Any], settings: Settings) -> str:
    return f"{'at' if row['task'] == 'replace' else 'every'} {_spacing(row, settings)}"


def _spacing(row: dict[str, Any], settings: Settings) -> str:
    hours, days = row.get("interval_hours"), row.get("interval_days")
    return every(hours, days, row.get("clock") or "", _unit(settings))


def _stands_on(row: dict[str, Any]) -> str:
    return f"{row['basis']}, {row['mark']}" if row.get("mark") else str(row["basis"])


def _unit(settings: Settings) -> str:
    return settings.fleet.meter_unit


def _answer(
    question: str, answer: Word, applicable: Word, effective: Word, told: str, task: str
) -> Answer:
    return Answer(
        question=question, answer=answer, applicable=applicable, effective=effective,
        evidence=told, task=task,
    )  # fmt: skip
