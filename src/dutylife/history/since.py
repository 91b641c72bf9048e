"""A run held against the month before: what moved and why, and what of the past changed."""

from collections.abc import Callable

import pandas as pd

from dutylife.errors import DutylifeError
from dutylife.history.moved import moved_table
from dutylife.history.past_rows import change_finding, record_changes
from dutylife.history.path import Here, steps_between
from dutylife.history.reread import Past
from dutylife.history.snapshot import Snapshot
from dutylife.provenance import code_digest, digest_of, versions
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings

Tables = dict[str, pd.DataFrame]


def since_month(
    month: Snapshot,
    now: Here,
    made: Tables,
    *,
    read: Callable[[Settings], Tables],
    code: Callable[[Settings], Tables],
    tell: Callable[[str], None],
) -> tuple[Tables, pd.DataFrame]:
    """What moved since a kept month, and its past as it reads today.

    Parameters
    ----------
    month : Snapshot
        The one held against; of this run's day or before.
    now : Here
        Today's inputs.
    made : dict of DataFrame
        Today's tables.
    read, code : callable
        Settings to the tables of reading, and to those after coding, as of their day.
    tell : callable
        Called with each cause as it is looked at.

    Returns
    -------
    tuple
        Tables "moved" and "record_changes"; findings.

    Raises
    ------
    RunError
        The kept month is damaged.
    """
    inputs, given = month.inputs(), month.given()
    then = Here(
        settings=month.settings(now.settings), tables=inputs,
        scores=some(inputs["forecast_scores"]),
    )  # fmt: skip
    past = Past(then=then, now=now, read=read, code=code)
    today = past(now.settings)
    changes = record_changes(inputs, today, today["maintenance_events"])
    findings = [change_finding(changes, then.as_of)]
    is_same_program = (month.about["code_digest"], month.about["versions"]) == (
        code_digest(), versions(),
    )  # fmt: skip
    moved = empty_table("moved")
    try:
        steps = steps_between(
            then, now, given, made, past=past, is_same_program=is_same_program, tell=tell
        )
        moved = moved_table(steps, then, now, made, changes)
    except DutylifeError as error:
        findings.append(
            _finding(
                "moved", f"What moved since {then.as_of:%Y-%m-%d} can't be told: {error}",
                "the run itself is whole; the months to come are compared again",
            )
        )  # fmt: skip
    if past.refused:
        findings.append(
            _finding(
                "settings",
                f"Settings of {then.as_of:%Y-%m-%d} can't read today's exports ({past.refused}): "
                "what other settings change in reading and coding is told as past rows.",
                "nothing to do",
            )
        )
    rows = [f.astype("object") for f in findings if len(f)]
    return (
        {"moved": moved, "record_changes": changes},
        as_table("findings", pd.concat(rows) if rows else pd.DataFrame()),
    )


def some(scores: pd.DataFrame | None) -> pd.DataFrame | None:
    """Scores, or None where there are none."""
    return None if scores is None or scores.empty else scores


def _finding(key: str, message: str, mend: str) -> pd.DataFrame:
    row = {
        "finding_id": digest_of("history", key, message), "stage": "history", "kind": "note",
        "table": "moved", "key": key, "source_row": 0, "message": message, "mend": mend,
    }  # fmt: skip
    return as_table("findings", pd.DataFrame([row]))
