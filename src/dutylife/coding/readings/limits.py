"""Whether a reading lies beyond a component's reject limit, as the limit is written."""

import re

from dutylife.components import Task


def is_rejected(value: float, task: Task) -> bool:
    """Whether a reading lies beyond a task's reject limit; False where the limit is no number.

    Understood are ``>15``, ``<=5``, ``outside 0.6-0.9`` and, with a nominal of one or more
    figures, ``+/-25 %``; ranges of two models ("6-15 (model)") are not.

    Parameters
    ----------
    value : float
        In the task's unit.
    """
    limit = task.reject_limit
    share = re.search(r"\+/-\s?(\d+)\s?%", limit)
    if share:
        nominal = nominal_figures(task)
        part = float(share[1]) / 100
        return bool(nominal) and not any(n * (1 - part) <= value <= n * (1 + part) for n in nominal)
    outside = re.match(r"outside (\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)", limit)
    if outside:
        return not float(outside[1]) <= value <= float(outside[2])
    for sign, text in re.findall(r"([<>]=?)\s?(\d+(?:\.\d+)?)(?!\S*[\d%])", limit)[:1]:
        edge = float(text)
        return {
            ">": value > edge, ">=": value >= edge, "<": value < edge, "<=": value <= edge
        }[sign]  # fmt: skip
    return False


def nominal_figures(task: Task) -> list[float]:
    """Figures of a task's nominal value, thousands joined."""
    text = re.sub(r"(?<=\d) (?=\d{3})", "", task.nominal)
    return [float(n) for n in re.findall(r"\d+(?:\.\d+)?", text)]
