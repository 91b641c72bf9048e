"""Service lines to coded events: the one function of this stage."""

from collections import Counter
from typing import Any

import pandas as pd

from dutylife.coding.catalogue import build_catalogue
from dutylife.coding.corrections import (
    Corrections,
    corrected_parts,
    corrected_reading,
    read_corrections,
)  # fmt: skip
from dutylife.coding.events import build_events, job_kinds
from dutylife.coding.evidence import gather, plain_lines, settle_ambiguous
from dutylife.coding.lexicon import Lexicon, build_lexicon
from dutylife.coding.mentions import Reading
from dutylife.coding.proposals import (
    LEARNED_FROM,
    answers_of,
    corrections_used,
    guess,
    open_texts,
    review_table,
    use_guesses,
)  # fmt: skip
from dutylife.coding.readings import Value, reading_table, text_readings
from dutylife.coding.texts import TextReader
from dutylife.intake.findings import finding, first_few
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count


def code_lines(
    service_lines: pd.DataFrame,
    units: pd.DataFrame,
    shelf: pd.DataFrame,
    settings: Settings,
    *,
    review: bool = False,
) -> dict[str, pd.DataFrame]:
    """Say of each line which component it concerns, what was done and why.

    Parameters
    ----------
    service_lines, units, shelf : DataFrame
        Tables of intake.
    settings : Settings
        ``coding`` holds the shop's own words, what a person said of texts (corrections), the
        default reason and the comeback days.
    review : bool
        Also make to_review, the texts for a person to code.

    Returns
    -------
    dict of DataFrame
        maintenance_events, readings, catalogue, not_understood, corrections_used, findings, and
        to_review when asked for.

    Raises
    ------
    SettingsError
        The lexicon file, the corrections or a component of the settings can't be used.
    """
    lexicon = build_lexicon(settings)
    corrections = read_corrections(settings, lexicon.components)
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
    corrected = corrected_parts(named, corrections)
    catalogue = build_catalogue(lines[is_part], shelf, named | corrected, lexicon)
    listed = catalogue[catalogue["component"].notna()].astype("object")
    by_number = dict(zip(listed["part_number"], listed["component"], strict=True))
    of_parts = {t: corrected_reading(work[t], rows) for t in _unlike(descriptions[is_part])
                if (rows := corrections.of("", t))}  # fmt: skip
    work = {t: corrected_reading(r, corrections.of(t)) for t, r in work.items()}
    proposed: dict[str, tuple[tuple[str, ...], float]] = {}
    n_proposed = 0
    out: dict[str, pd.DataFrame] = {}
    is_learned = len(corrections.by_key) >= LEARNED_FROM and settings.coding.guess_from < 1
    if review or is_learned:
        first = answers_of(corrected, of_parts, {})
        known, _ = gather(lines, by_number, named, work, said_of_parts=first)
        loose = set(settle_ambiguous(known, lines, units)[1]["line_id"])
        open_ = open_texts(lines, named | corrected, work, by_number, corrections, loose)
        guesses = guess(
            open_, corrections, named, work, counts, lambda texts: _read_alone(texts, lexicon)
        )
        if review:
            out["to_review"] = review_table(open_, guesses, corrections)
        if is_learned:
            read, proposed, n_proposed = use_guesses(
                open_, guesses, work, settings.coding.guess_from
            )
            work |= read
    answers = answers_of(corrected, of_parts, proposed)
    evidence, unknown = gather(lines, by_number, named, work, said_of_parts=answers)
    evidence, unsettled = settle_ambiguous(evidence, lines, units)
    settled = pd.concat([f[["job", "component"]] for f in (evidence.parts, evidence.said)])
    jobs = job_kinds(lines, work, asked)
    events, n_shared, n_unsaid = build_events(
        evidence, jobs, lines, lexicon, settings,
        lambda text: lexicon.is_bare(t.word for t in reader.tokens(text)),
    )  # fmt: skip
    not_understood = _not_understood(lines, unknown, unsettled, work)
    notes = _findings(lines, unknown, unsettled, work, reader, n_shared, len(not_understood))
    notes += _of_unsaid(n_unsaid)
    out["corrections_used"] = corrections_used(corrections, lines)
    notes += _of_corrections(corrections, out["corrections_used"], n_proposed, settings)
    return out | {
        "maintenance_events": events,
        "readings": reading_table(lines, values, settled, events),
        "catalogue": catalogue,
        "not_understood": not_understood,
        "findings": as_table("findings", pd.DataFrame(notes)),
    }


def _read_alone(texts: list[str], lexicon: Lexicon) -> dict[str, Reading]:
    return TextReader(lexicon, Counter(texts)).work(texts)


def _of_unsaid(n_unsaid: int) -> list[dict[str, Any]]:
    if not n_unsaid:
        return []
    return [
        finding(
            "coding", "note",
            f"{count(n_unsaid, 'repair ticket')} {'names' if n_unsaid == 1 else 'name'} no "
            "component and bills no part; each is taken for what such repairs mostly were where "
            "the text says, with that share as its weight.",
            mend="write on the ticket what was cleaned, adjusted or mended",
            table="maintenance_events", key="repairs without a name",
        )
    ]  # fmt: skip


def _of_corrections(
    corrections: Corrections, used: pd.DataFrame, n_proposed: int, settings: Settings
) -> list[dict[str, Any]]:
    """How many lines each correction touched; those that touch none are named."""
    if not corrections.by_key:
        return []
    every = sorted((c for rows in corrections.by_key.values() for c in rows), key=lambda c: c.row)
    lines_of = dict(zip(used["source_row"], used["n_lines"], strict=True))
    lines_of_key = used.drop_duplicates("content_key")["n_lines"]
    touched = sorted((c for c in every if lines_of[c.row]), key=lambda c: -lines_of[c.row])
    idle = [c.label for c in every if not lines_of[c.row]]
    most = [f"{c.label} {count(int(lines_of[c.row]), 'line')}" for c in touched]
    said = f": {first_few(most)}" if most else ""
    notes = [
        finding(
            "coding", "note",
            f"{count(len(every), 'correction')} touched {count(int(lines_of_key.sum()), 'line')}"
            f"{said}.",
            mend="nothing to do; each correction's lines stand in the table corrections_used",
            table="corrections_used", key="touched", source_file=corrections.file,
        )
    ]  # fmt: skip
    if idle:
        notes.append(
            finding(
                "coding", "note",
                f"{count(len(idle), 'correction')} touched no line: {'; '.join(idle)}.",
                mend="copy content_key from to_review.csv, or delete the row",
                table="corrections_used", key="touched nothing", source_file=corrections.file,
            )
        )  # fmt: skip
    if n_proposed:
        notes.append(
            finding(
                "coding", "note",
                f"{count(n_proposed, 'text')} coded by the text model that learned from the "
                f"corrections, each at least {settings.coding.guess_from:.0%} sure; the events "
                "carry that confidence.",
                mend="correct them in the corrections file, or set [coding] guess_from = 1",
                table="maintenance_events", key="proposed",
            )
        )  # fmt: skip
    return notes


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
        lost = bool(n_lost or n_texts)
        notes.append(
            finding(
                "coding", "note",
                f"{n_lost} of {len(parts)} part lines ({n_lost / len(parts):.1%}) and "
                f"{count(n_texts, 'text')} in all are not understood or ambiguous."
                if lost
                else f"All of {count(len(parts), 'part line')} and every text were understood.",
                mend="add the words to [coding.components] or to a lexicon file"
                if lost
                else "nothing to do",
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
