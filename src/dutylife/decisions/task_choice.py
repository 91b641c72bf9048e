"""Which task a component needs in a duty, asked in the order of reliability-centred maintenance."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dutylife.decisions.cells import Cell
from dutylife.decisions.task_questions import OPERATOR, Answer, answers_of
from dutylife.decisions.work_cautions import cautions_for
from dutylife.errors import DecisionError
from dutylife.settings import Settings

RUN_TO_FAILURE = "run to failure"


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskChoice:
    """The questions put to a component in a duty, their answers and the task they lead to.

    ``task`` is what is done, "run to failure" only where nothing can hurt; ``question`` the one
    that decided.
    """

    component: str
    duty: str
    task: str
    question: str
    answers: tuple[Answer, ...]
    cautions: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Rows of table "task_choice", one a question."""
        return pd.DataFrame(
            [
                {
                    "component": self.component, "duty": self.duty, "question_order": number,
                    "question": a.question, "answer": a.answer, "applicable": a.applicable,
                    "effective": a.effective, "evidence": a.evidence, "task": a.task or None,
                    "decides": a.question == self.question, "cautions": ";".join(self.cautions),
                }
                for number, a in enumerate(self.answers, start=1)
            ]
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        decided = next(a for a in self.answers if a.question == self.question)
        return (
            f"{self.component.capitalize()} in {self.duty}: {self.task} ({self.question}: "
            f"{decided.evidence}). The maker's manual stands above this."
        )


def choose_task(
    cell: Cell,
    rows: list[dict[str, Any]],
    costs: dict[str, dict[str, Any]],
    sign: str,
    settings: Settings,
) -> TaskChoice:
    """Choose the task of a component in a duty by the logic of reliability-centred maintenance.

    Parameters
    ----------
    cell : Cell
    rows : list of dict
        The cell's rows of table "intervals".
    costs : dict
        Its rows of table "costs" by task.
    sign : str
        In words: what warns before a failure, how early, and how that is known.
    settings : Settings

    Returns
    -------
    TaskChoice
        Questions in this order: can a failure hurt or break the law (then a task is compulsory and
        money does not decide); is it hidden; can a look or reading warn in time; does risk rise
        with age; else run to failure with a spare. Each task is tested twice: applicable (it can
        work) and effective (it is worth doing). The first that passes both decides; of what can
        hurt the first that is applicable, whatever it costs. The operator's own look goes on in any
        case and decides only where no other task would.

    Raises
    ------
    DecisionError
        What can hurt has no task at all: a fault of this program, never a recommendation.

    References
    ----------
    SAE JA1011, JA1012 and IEC 60300-3-11; order and tests from memory.
    """
    answers = answers_of(cell, rows, costs, sign, settings)
    hurts = bool(cell.component.can_hurt)
    tasks = [a for a in answers if a.task]
    passed = [a for a in tasks if a.applicable == "yes" and (hurts or a.effective == "yes")]
    if hurts and not passed:
        raise DecisionError(
            f"{cell.component.name} can hurt someone and has no task in {cell.duty}.",
            "choose_task", "state a starting inspection of it, or ask a competent person",
        )  # fmt: skip
    # the operator's own look is no visit: it decides only where nothing else would be done
    visits = [a for a in passed if not a.task.endswith((OPERATOR, RUN_TO_FAILURE))]
    decided = (visits or passed)[0]
    return TaskChoice(
        component=cell.component.name,
        duty=cell.duty,
        task=decided.task,
        question=decided.question,
        answers=tuple(answers),
        cautions=cautions_for(cell.component),
    )
