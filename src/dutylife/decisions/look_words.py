"""The sentence of a look: what to look for, how often, why that often."""

from dutylife.decisions.cells import Cell
from dutylife.decisions.starting import Start
from dutylife.wording import check_words, look_sentence, record_behind


def look_words(cell: Cell, look: Start, at: str, why: str) -> str:
    """Say a look in one sentence.

    Parameters
    ----------
    cell : Cell
    look : Start
        Its task and what it checks.
    at : str
        Its spacing in words.
    why : str
        Why so often.

    Returns
    -------
    str
    """
    what = " ".join(
        check_words(c.action, c.measurement, c.unit, c.nominal, c.reject_limit).capitalize()
        if not c.measurement
        else _capital(check_words(c.action, c.measurement, c.unit, c.nominal, c.reject_limit))
        for c in look.checks
    )
    return look_sentence(
        task=look.task,
        component=cell.component.name,
        duty=cell.duty,
        at=at,
        what=what,
        why=why,
        record=record_behind(
            cell.n_failed, cell.n_lives, "own data" if not cell.has_law else cell.basis
        ),
        hurt=cell.component.can_hurt,
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
