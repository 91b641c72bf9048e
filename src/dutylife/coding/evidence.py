"""Lines and texts to evidence: one row for each component a line or a ticket's text speaks of."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.coding.lexicon import AMBIGUOUS
from dutylife.coding.mentions import Reading

TEXT_COLUMNS = (
    "ticket", "ticket_kind", "unit_id", "complaint", "work_done", "part_number", "description",
    "equipment_class", "line_kind",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks of components.

    Parameters
    ----------
    parts : DataFrame
        Part and credit lines with a component: job, component, line_id, part_number, pieces
        (negative when credited), is_replacing, sureness (under 1 where a model proposed it).
    said : DataFrame
        Mentions: job, component, line_id, activity, finding, modes, stated, is_labour, is_sure,
        sureness.
    """

    parts: pd.DataFrame
    said: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Answers:
    """What was said of part lines' descriptions from outside the lexicon.

    Parameters
    ----------
    corrected : dict
        Components a person named; none where the person says that it is no component.
    proposed : dict
        Components the model proposes, with its confidence; used where nothing else is known.
    read : dict
        Descriptions as a person reads them (activity, finding, reason).
    """

    corrected: dict[str, tuple[str, ...]]
    proposed: dict[str, tuple[tuple[str, ...], float]]
    read: dict[str, Reading]


def plain_lines(service_lines: pd.DataFrame) -> pd.DataFrame:
    """Lines with words as text (blank where missing) and the number of their job.

    A job is a ticket on one machine, or without a ticket number the machine's day; -1 where the
    line names no machine.
    """
    lines = service_lines.copy(deep=False)  # columns are replaced, no cell is changed
    for column in TEXT_COLUMNS:
        lines[column] = _texts(lines[column])
    place, days = pd.factorize(lines["service_date"])  # each unlike day is written once
    told = np.array([*pd.DatetimeIndex(days).strftime("%Y-%m-%d"), None], dtype=object)
    day = pd.Series(told[place], index=lines.index, dtype="object")
    visit = lines["ticket"].where(lines["ticket"] != "", "on " + day)
    keys = lines["unit_id"] + "\x1f" + visit
    lines["job"] = np.where(lines["unit_id"] == "", -1, pd.factorize(keys, sort=True)[0])
    return lines


def _texts(words: pd.Series) -> pd.Series:
    """Words as text, blank where missing; of coded ones each is written once."""
    if isinstance(words.dtype, pd.CategoricalDtype):
        every = np.append(words.cat.categories.to_numpy(dtype="object"), "")
        return pd.Series(every[words.cat.codes.to_numpy()], index=words.index, dtype="object")
    text = words.astype("object")
    return text.where(text.notna(), "")


def gather(
    lines: pd.DataFrame,
    component_of_number: dict[str, str],
    named: dict[str, tuple[str, ...]],
    read: dict[str, Reading],
    *,
    said_of_parts: Answers | None = None,
) -> tuple[Evidence, pd.DataFrame]:
    """Evidence of all lines with a machine, and the part lines without a component.

    A part number decides; a line without one, or with a number of no known component, goes by
    its text. A part line that says it was only cleaned, checked, tested or set replaces nothing.

    Parameters
    ----------
    lines : DataFrame
        From `plain_lines`.
    component_of_number : dict
        Component by part number.
    named : dict
        Components named by each part line's description.
    read : dict
        Each line text and work text as read.
    said_of_parts : Answers, optional
        What a person or the model says of part lines; a person's word stands over the number.
    """
    answers = said_of_parts or Answers({}, {}, {})
    is_part = lines["line_kind"].isin(["part", "credit"])
    sold = lines[is_part]
    by_number = sold["part_number"].map(component_of_number)
    known = [
        answers.corrected[text] if text in answers.corrected
        else (number,) if isinstance(number, str)
        else named.get(text, ()) or answers.proposed.get(text, ((), 1.0))[0]
        for number, text in zip(by_number, sold["description"], strict=True)
    ]  # fmt: skip
    sureness = [
        1.0 if isinstance(number, str) or named.get(text) or text in answers.corrected
        else answers.proposed.get(text, ((), 1.0))[1]
        for number, text in zip(by_number, sold["description"], strict=True)
    ]  # fmt: skip
    parts = sold.assign(
        component=pd.Series(known, index=sold.index, dtype="object"), sureness=sureness
    ).explode("component")
    unknown = parts[parts["component"].isna()]
    parts = parts[parts["component"].notna()]
    pieces = parts["quantity"].fillna(1.0)
    is_credit = (parts["line_kind"] == "credit").to_numpy()
    parts = parts.assign(pieces=np.where(is_credit, -pieces.abs(), pieces))
    said_of_part = _mentions(
        lines[is_part & (lines["description"] != "")], "description", read | answers.read
    )
    verbs = said_of_part[said_of_part["activity"] != ""]
    replacing = set(verbs.loc[verbs["activity"] == "replace", "line_id"])
    parts["is_replacing"] = ~parts["line_id"].isin(set(verbs["line_id"]) - replacing)
    # a part line's text speaks of its own component, however it is named
    one = parts.drop_duplicates("line_id").set_index("line_id")["component"]
    said_of_part = said_of_part.assign(component=said_of_part["line_id"].map(one))
    said_of_part = said_of_part[
        said_of_part["component"].notna()
        & (
            ((said_of_part["activity"] != "") | (said_of_part["finding"] != ""))
            & (said_of_part["activity"] != "replace")
            | said_of_part["is_sure"]
        )
    ]
    work = lines[(lines["work_done"] != "") & (lines["job"] >= 0)]
    work = work.drop_duplicates(["job", "work_done"])
    other = lines[~is_part & (lines["description"] != "") & (lines["job"] >= 0)]
    said = pd.concat(
        [
            _mentions(work, "work_done", read).assign(is_labour=False),
            _mentions(other, "description", read).assign(
                is_labour=lambda f: f["line_kind"] == "labour"
            ),
            said_of_part.assign(is_labour=False),
        ],
        ignore_index=True,
    )
    columns = ["job", "component", "line_id", "part_number", "pieces", "is_replacing", "sureness"]
    evidence = Evidence(parts[columns], said[said["job"] >= 0])
    return evidence, unknown


def _mentions(rows: pd.DataFrame, column: str, read: dict[str, Reading]) -> pd.DataFrame:
    texts = rows[column]
    spoken = [
        (text, m.component, m.activity, m.finding, m.modes, m.reason, m.is_sure, m.confidence)
        for text in texts.unique() for m in read[text].mentions
    ]  # fmt: skip
    names = ["text", "component", "activity", "finding", "modes", "stated", "is_sure", "sureness"]
    told = pd.DataFrame(spoken, columns=names, dtype="object")
    told = told.astype({"is_sure": bool, "sureness": "float64"})
    left = rows[["job", "line_id", "line_kind"]].assign(text=texts)
    return left.merge(told, on="text", how="inner", sort=False)


def settle_ambiguous(
    evidence: Evidence, lines: pd.DataFrame, units: pd.DataFrame
) -> tuple[Evidence, pd.DataFrame]:
    """Say which component an ambiguous word means, where part numbers decide it.

    First a part line of the same job, then the only candidate whose part number was ever sold for
    machines of the same class. What stays open is taken out and returned.
    """
    said = evidence.said
    open_ = said["component"].str.startswith(AMBIGUOUS)
    loose = evidence.parts["component"].str.startswith(AMBIGUOUS)
    firm = evidence.parts[~loose & (evidence.parts["job"] >= 0)]
    class_of = _class_of_job(lines, units)
    numbered = firm[firm["part_number"] != ""]
    # few jobs of millions have an open word
    asked = firm[firm["job"].isin({*said.loc[open_, "job"], *evidence.parts.loc[loose, "job"]})]
    in_job = _sets(asked["job"], asked["component"])
    in_class = _sets(numbered["job"].map(class_of), numbered["component"])

    def settle(rows: pd.DataFrame) -> list[str]:
        out = []
        for job, value in zip(rows["job"], rows["component"], strict=True):
            candidates = set(value.removeprefix(AMBIGUOUS).split("|"))
            hits = candidates & in_job.get(job, set())
            hits = hits or candidates & in_class.get(class_of.get(job, ""), set())
            out.append(min(hits) if len(hits) == 1 else value)
        return out

    said = said.assign(component=said["component"].mask(open_, None))
    said.loc[open_, "component"] = settle(evidence.said[open_])
    parts = evidence.parts.copy()
    parts.loc[loose, "component"] = settle(evidence.parts[loose])
    still_said = said["component"].str.startswith(AMBIGUOUS)
    still = parts["component"].str.startswith(AMBIGUOUS)
    unsettled = pd.concat([said.loc[still_said, ["line_id"]], parts.loc[still, ["line_id"]]])
    return Evidence(parts[~still], said[~still_said]), unsettled


def _sets(keys: pd.Series, values: pd.Series) -> dict[object, set[str]]:
    out: dict[object, set[str]] = {}
    for key, value in set(zip(keys, values, strict=True)):
        out.setdefault(key, set()).add(value)
    return out


def _class_of_job(lines: pd.DataFrame, units: pd.DataFrame) -> dict[int, str]:
    names, classes = units["unit_id"].astype("object"), units["equipment_class"].astype("object")
    by_unit = dict(zip(names, classes, strict=True))
    jobs = lines.loc[lines["job"] >= 0, ["job", "unit_id"]].drop_duplicates("job")
    of_job = jobs["unit_id"].map(by_unit)
    return {j: c for j, c in zip(jobs["job"], of_job, strict=True) if isinstance(c, str)}
