"""Service lines to coded events: the one function of this stage."""

from collections import Counter
from typing import Any

import pandas as pd

from dutylife.coding.catalogue import build_catalogue
from dutylife.coding.events import build_events, job_kinds
from dutylife.coding.evidence import gather, plain_lines, settle_ambiguous
from dutylife.coding.lexicon import build_lexicon
from dutylife.coding.mentions import Reading
from dutylife.coding.readings import Value, reading_rows, text_readings
from dutylife.coding.texts import TextReader
from dutylife.intake.findings import finding, first_few
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count


def code_lines(
    service_lines: pd.DataFrame, units: pd.DataFrame, shelf: pd.DataFrame, settings: Settings
) -> dict[str, pd.DataFrame]:
    """Say of each line which component it concerns, what was done and why.

    Parameters
    ----------
    service_lines, units, shelf : DataFrame
        Tables of intake.
    settings : Settings
        ``coding`` holds the shop's own words, the default reason and the comeback days.

    Returns
    -------
    dict of DataFrame
        maintenance_events, readings, catalogue, not_understood, findings.

    Raises
    ------
    SettingsError
        The lexicon file or a component of the settings can't be used.
    """
    lexicon = build_lexicon(settings)
    lines = plain_lines(service_lines)
    descriptions = lines["description"]
    on_shelf = shelf["description"].astype("object")
    on_shelf = on_shelf[on_shelf.notna() & (on_shelf != "")]
    is_part = lines["line_kind"].isin(["part", "credit", "core"])
    columns = [descriptions, lines["work_done"], lines["complaint"], lines["ticket_kind"]]
    counts = Counter(pd.concat([*columns, on_shelf]).value_counts().to_dict())
    counts.pop("", None)
    reader = TextReader(lexicon, counts)
    named = reader.parts([*_unlike(descriptions[is_part]), *on_shelf.unique()])
    work = reader.work([*_unlike(lines["work_done"]), *_unlike(descriptions)])
    asked = reader.complaints([*_unlike(lines["complaint"]), *_unlike(lines["ticket_kind"])])
    values = text_readings(
        [*_unlike(lines["work_done"]), *_unlike(descriptions[~is_part])],
        reader,
        lexicon.components,
    )
    work = {t: _with_readings(r, values.get(t, [])) for t, r in work.items()}
    catalogue = build_catalogue(lines[is_part], shelf, named, lexicon)
    listed = catalogue[catalogue["component"].notna()].astype("object")
    by_number = dict(zip(listed["part_number"], listed["component"], strict=True))
    evidence, unknown = gather(lines, by_number, named, work)
    evidence, unsettled = settle_ambiguous(evidence, lines, units)
    jobs = job_kinds(lines, work, asked)
    events, n_shared = build_events(evidence, jobs, lexicon, settings)
    not_understood = _not_understood(lines, unknown, unsettled, work)
    notes = _findings(lines, unknown, unsettled, work, reader, n_shared, len(not_understood))
    return {
        "maintenance_events": events,
        "readings": as_table("readings", _reading_frame(lines, values)),
        "catalogue": catalogue,
        "not_understood": not_understood,
        "findings": as_table("findings", pd.DataFrame(notes)),
    }


def _unlike(texts: pd.Series) -> list[str]:
    return [t for t in texts.unique() if t]


def _with_readings(reading: Reading, values: list[Value]) -> Reading:
    """A component measured beyond its limit was found over its limit, said or not."""
    over = {v.component for v in values if v.is_over_limit}
    if not over:
        return reading
    mentions = [
        m._replace(finding="over limit")
        if m.component in over and m.finding in ("", "ok", "worn")
        else m
        for m in reading.mentions
    ]
    return Reading(mentions, reading.spoken, reading.tickets, reading.points_to, reading.is_fault)


def _reading_frame(lines: pd.DataFrame, values: dict[str, list[Value]]) -> pd.DataFrame:
    mine = lines[lines["job"] >= 0]
    work = mine[mine["work_done"].isin(values)].drop_duplicates(["job", "work_done"])
    is_part = mine["line_kind"].isin(["part", "credit", "core"])
    told = mine[mine["description"].isin(values) & ~is_part]
    rows: list[dict[str, Any]] = []
    for frame, column in ((work, "work_done"), (told, "description")):
        cells = zip(
            frame[column], frame["unit_id"], frame["service_date"], frame["line_id"], strict=True
        )
        rows += reading_rows(cells, values)
    found = pd.DataFrame(rows)
    return found.drop_duplicates(["line_id", "component", "quantity"]) if rows else found


def _not_understood(
    lines: pd.DataFrame,
    unknown: pd.DataFrame,
    unsettled: pd.DataFrame,
    work: dict[str, Reading],
) -> pd.DataFrame:
    """Texts of part lines, and work texts, that name nothing known; and ambiguous ones."""
    strange = unknown[~_is_other(unknown, work)]
    number = "part number " + strange["part_number"]
    text = strange["description"].where(strange["description"] != "", number)
    text = text.where((strange["description"] != "") | (strange["part_number"] != ""), "(no text)")
    told = lines.drop_duplicates(["job", "ticket", "work_done"])
    told = told[told["work_done"].map(lambda t: bool(t) and not work[t].spoken)]
    open_ = lines[lines["line_id"].isin(unsettled["line_id"])]
    unclear = open_["description"].where(
        open_["line_kind"].isin(["part", "credit"]) | (open_["work_done"] == ""),
        open_["work_done"],
    )
    frames = [
        pd.DataFrame({"text": text, "line_id": strange["line_id"]}),
        pd.DataFrame({"text": told["work_done"], "line_id": told["line_id"]}),
        pd.DataFrame({"text": "ambiguous: " + unclear, "line_id": open_["line_id"]}),
    ]
    rows = pd.concat([f.astype("object") for f in frames], ignore_index=True)
    grouped = rows.groupby("text", as_index=False).agg(
        n_lines=("line_id", "size"), line_id=("line_id", "min")
    )
    return as_table("not_understood", grouped)


def _is_other(rows: pd.DataFrame, work: dict[str, Reading]) -> pd.Series:
    """Whether a line's text names a known thing that is no component."""
    return rows["description"].map(lambda t: bool(t) and "other" in work[t].spoken).astype(bool)


def _findings(
    lines: pd.DataFrame,
    unknown: pd.DataFrame,
    unsettled: pd.DataFrame,
    work: dict[str, Reading],
    reader: TextReader,
    n_shared: int,
    n_texts: int,
) -> list[dict[str, Any]]:
    notes = []
    parts = lines[lines["line_kind"].isin(["part", "credit"])]
    strange = unknown[~_is_other(unknown, work)]
    unclear = parts["line_id"].isin(unsettled["line_id"])
    n_lost = int(parts["line_id"].isin(strange["line_id"]).sum() + unclear.sum())
    if len(parts):
        notes.append(
            finding(
                "coding", "note",
                f"{n_lost} of {len(parts)} part lines ({n_lost / len(parts):.1%}) and "
                f"{count(n_texts, 'text')} in all are not understood or ambiguous.",
                mend="add the words to [coding.components] or to a lexicon file",
                table="not_understood", key="part lines",
            )
        )  # fmt: skip
    if reader.slips:
        pairs = [f"'{a}' as '{b}'" for a, b in sorted(reader.slips.items())]
        notes.append(
            finding(
                "coding", "note",
                f"{count(len(reader.slips), 'misspelled word')} read as the nearest known one "
                f"({first_few(pairs)}).",
                mend="a word of its own can be added to [plain] of a lexicon file",
                table="maintenance_events", key="spelling",
            )
        )  # fmt: skip
    if n_shared:
        notes.append(
            finding(
                "coding", "note",
                f"On {count(n_shared, 'repair ticket')} several components were changed and "
                "nothing tells which was the cause; the failure is shared among them.",
                mend="write which part was the cause into the work text",
                table="maintenance_events", key="confidence",
            )
        )  # fmt: skip
    return notes
