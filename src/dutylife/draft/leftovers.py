"""Columns that names and cells leave open: known since nothing else is left for them."""

from dataclasses import replace

import numpy as np

from dutylife.draft.choices import PROPOSED, SURE, Choice, reason_of
from dutylife.draft.names import is_not_ours, name_score
from dutylife.draft.profile import Profile, decides
from dutylife.draft.relations import found_by_relations
from dutylife.draft.scores import UNLIKELY

# a choice between proposed and sure stands when all its rivals are this far below
_MARGIN = 0.15
_TEXTS = ("complaint", "work_done", "description")


def unrivalled(
    choice: Choice, scores: np.ndarray, fits: np.ndarray, headers: list[str], wanted: list[str]
) -> Choice:
    """A near choice whose column fits nothing else, and that no other column fits, is it."""
    row, column = headers.index(choice.header), wanted.index(choice.ours)
    if choice.is_sure or fits[row, column] < UNLIKELY or choice.reason.startswith("no name"):
        return choice
    rivals = [*np.delete(scores[row], column), *np.delete(scores[:, column], row)]
    if rivals and max(rivals) > choice.confidence - _MARGIN:
        return choice
    return replace(choice, confidence=SURE, reason=f"{choice.reason}; nothing else fits")


def related(
    choices: list[Choice], mine: dict[str, Profile], columns: dict[str, Profile],
    totals: dict[str, tuple[str, str]], keys: frozenset[str],
) -> list[Choice]:  # fmt: skip
    """Columns that no name tells, by how they go with those that are known."""
    sure = {c.ours: c.header for c in choices if c.is_sure}
    rest = {h: p for h, p in _open_columns(choices, mine).items() if h not in keys}
    for ours, (header, reason, is_certain) in found_by_relations(
        sure, rest, columns, totals
    ).items():
        told = f"{reason}; {reason_of(0.0, columns[header]).partition('; ')[2]}"
        choices = _with(choices, ours, header, told)
        if not is_certain:
            choices[-1] = replace(choices[-1], confidence=PROPOSED)
    return choices


def only_text(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one column of free text is the text of the work, whatever it is called."""
    if any(c.is_sure and c.ours in _TEXTS for c in choices):
        return choices
    long = [
        p for p in columns.values()
        if p.mean_words > 3.5 and p.share_unlike > 0.4
        and p.share_words > 0.9 and p.share_filled > 0.5
    ]  # fmt: skip
    if len(long) != 1 or any(c.is_sure and c.header == long[0].header for c in choices):
        return choices
    rest = [c for c in choices if c.header != long[0].header and c.ours != "description"]
    reason = f"the only column of free text; {reason_of(0.0, long[0])}"
    return [*rest, Choice("description", long[0].header, 0.6, reason)]


def line_text(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one text that changes within a ticket is the text of its lines."""
    sure = {c.ours: c.header for c in choices if c.is_sure}
    if "description" in sure or not {"ticket", "quantity"} <= set(sure):
        return choices
    ticket = columns[sure["ticket"]].cells
    found = [
        h for h, p in _open_columns(choices, columns).items()
        if p.share_words > 0.7 and p.share_codes < 0.5 and p.n_unlike > 10
        and 0.0 < decides(ticket, p.cells) < 0.9 and not is_not_ours(h)
    ]  # fmt: skip
    if len(found) != 1:
        return choices
    reason = f"the only text that changes within a ticket; {reason_of(0.0, columns[found[0]])}"
    return _with(choices, "description", found[0], reason)


def only_kinds(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one column of a few words that repeat, on a list of machines, is their kind."""
    if any(c.is_sure and c.ours == "equipment_class" for c in choices):
        return choices
    found = [
        h for h, p in _open_columns(choices, columns).items()
        if p.share_words > 0.8 and p.share_filled > 0.7 and p.mean_words <= 3
        and 2 <= p.n_unlike <= 0.5 * p.n_filled and not is_not_ours(h)
    ]  # fmt: skip
    if len(found) != 1:
        return choices
    reason = f"the only column of kinds left; {reason_of(0.0, columns[found[0]])}"
    return _with(choices, "equipment_class", found[0], reason)


def only_date(choices: list[Choice], columns: dict[str, Profile], dates: list[str]) -> list[Choice]:
    """The one column of dates on a list of machines, called "since" in some way, is their start."""
    told = {c.ours for c in choices if c.is_sure}
    if "in_service_on" in told or len(dates) != 1 or name_score(dates[0], "left_on") > 0.2:
        return choices
    if not name_score(dates[0], "in_service_on") > 0.2:
        return choices
    reason = f"the only column of dates, and named so; {reason_of(0.3, columns[dates[0]])}"
    return _with(choices, "in_service_on", dates[0], reason)


def _open_columns(choices: list[Choice], columns: dict[str, Profile]) -> dict[str, Profile]:
    used = {c.header for c in choices if c.is_sure}
    return {h: p for h, p in columns.items() if h not in used and p.n_filled and "." not in h}


def _with(choices: list[Choice], ours: str, header: str, reason: str) -> list[Choice]:
    rest = [c for c in choices if c.ours != ours and c.header != header]
    return [*rest, Choice(ours, header, SURE, reason)]
