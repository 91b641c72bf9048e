"""Texts the lexicon does not code, what is proposed for them, and the table a person fills in."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

import pandas as pd

from dutylife.coding.corrections import Corrections
from dutylife.coding.evidence import Answers
from dutylife.coding.guess import Proposal, TextModel
from dutylife.coding.keys import content_key, normalised
from dutylife.coding.lexicon import AMBIGUOUS
from dutylife.coding.mentions import Mention, Reading
from dutylife.coding.order import label_order
from dutylife.schema import as_table

LEARNED_FROM = 20  # corrected texts from which on the model's proposals are used
_READ = 1500  # texts the lexicon has read that the model also learns from, the commonest first
_NOTHING = frozenset({"other", "ticket"})  # kinds of phrases of a text that needs no component
_NO_MORE = frozenset({"other", "ticket", "activity", "finding", "negation"})  # of "checked, ok"


class OpenText(NamedTuple):
    """A text nothing is known of: a work text, or a part line's description."""

    text: str
    is_part: bool
    n_lines: int
    ticket: str

    @property
    def key(self) -> str:
        """Its content key."""
        return content_key("", self.text) if self.is_part else content_key(self.text)


@dataclass(frozen=True, slots=True)
class Guesses:
    """Proposals of component, activity, reason and finding for the open texts, by place."""

    components: list[Proposal]
    activities: list[str]
    reasons: list[str]
    findings: list[str]
    doubt: list[float]


def open_texts(
    lines: pd.DataFrame,
    named: dict[str, tuple[str, ...]],
    work: dict[str, Reading],
    by_number: dict[str, str],
    corrections: Corrections,
    unsettled: set[str],
) -> list[OpenText]:
    """Texts without a component for sure, those a person has corrected left out.

    A part line whose number is of a known component is no question, nor is a text that names only
    things that are no component, a kind of job or that all was in order. A word that may mean
    several components is open where part numbers decided it on none of its lines.

    Parameters
    ----------
    unsettled : set of str
        Lines with a component that nothing decided.
    """
    is_part = lines["line_kind"].isin(["part", "credit"])
    strange = is_part & ~lines["part_number"].isin(by_number) & (lines["description"] != "")
    parts = lines[strange]
    told = lines[(lines["work_done"] != "") & (lines["job"] >= 0)]
    told = told.drop_duplicates(["job", "work_done"])
    other = lines[~is_part & (lines["line_kind"] != "core") & (lines["job"] >= 0)]
    out = []
    for frame, column, of_part in (
        (parts, "description", True), (told, "work_done", False), (other, "description", False),
    ):  # fmt: skip
        frame = frame[frame[column] != ""]
        frame = frame.assign(settled=~frame["line_id"].isin(unsettled))
        counted = frame.groupby(column, sort=True).agg(
            n=("ticket", "size"), ticket=("ticket", "min"), settled=("settled", "any")
        )
        for text, n, ticket, settled in counted.itertuples():
            reading = work[text]
            if of_part:
                names = named.get(text, ())
                sure = any(settled or not c.startswith(AMBIGUOUS) for c in names)
                sure |= "other" in reading.spoken and not named.get(text)
            else:
                names = tuple(m.component for m in reading.mentions)
                sure = any(settled or not c.startswith(AMBIGUOUS) for c in names)
                sure |= bool(reading.spoken) and reading.spoken <= _NOTHING
                sure |= not names and not reading.is_fault and _says_all_is_well(reading)
            if not sure:
                out.append(OpenText(text, of_part, int(n), str(ticket)))
    return _once([o for o in out if o.key not in corrections.by_key])


def _says_all_is_well(reading: Reading) -> bool:
    return {"finding"} <= reading.spoken <= _NO_MORE


def _once(found: Iterable[OpenText]) -> list[OpenText]:
    """One row a content key: spellings that differ in case or blanks are one text."""
    groups: dict[str, OpenText] = {}
    for one in found:
        there = groups.get(one.key)
        if there is None:
            groups[one.key] = one
        else:
            first = min(there, one, key=lambda o: (-o.n_lines, o.text))
            groups[one.key] = first._replace(n_lines=there.n_lines + one.n_lines)
    return [groups[k] for k in sorted(groups)]


def guess(
    asked: list[OpenText],
    corrections: Corrections,
    named: dict[str, tuple[str, ...]],
    work: dict[str, Reading],
    counts: Counter[str],
    reader_of: Callable[[list[str]], dict[str, Reading]],
) -> Guesses:
    """What the model proposes for the open texts.

    It learns from the corrections and from the commonest texts the lexicon has read. Activity,
    finding and reason come from the words of the text that the lexicon knows; where it knows
    none, from what the person filled in for like texts.

    Parameters
    ----------
    reader_of : callable
        Texts to readings with the run's lexicon.
    """
    learned, said = _labelled(corrections, named, work, counts)
    texts = [o.text for o in asked]
    model = TextModel([*texts, *learned, *(t for column in said.values() for t in column)])
    components = model.learn(learned).propose(texts)
    doubt = [float(d) for d in model.doubt(texts)]
    read = _read_as(asked, components, reader_of)
    filled = {}
    for column, labels in said.items():
        values = model.learn(labels, several=False).propose(texts)
        filled[column] = [p.values[0] if p.values and p.confidence >= 0.5 else "" for p in values]
    return Guesses(
        components,
        [m.activity or g for m, g in zip(read, filled["activity"], strict=True)],
        [m.reason or g for m, g in zip(read, filled["reason"], strict=True)],
        [m.finding or g for m, g in zip(read, filled["finding"], strict=True)],
        doubt,
    )


def _labelled(
    corrections: Corrections,
    named: dict[str, tuple[str, ...]],
    work: dict[str, Reading],
    counts: Counter[str],
) -> tuple[dict[str, tuple[str, ...]], dict[str, dict[str, tuple[str, ...]]]]:
    """Components of texts with a label, and the other codes a person filled in."""
    common = sorted(set(work) | set(named), key=lambda t: (-counts[t], t))
    learned: dict[str, tuple[str, ...]] = {}
    for text in common:
        reading = work.get(text)
        names = named.get(text) or tuple(m.component for m in (reading.mentions if reading else ()))
        if names and not any(n.startswith(AMBIGUOUS) for n in names):
            learned[text] = tuple(sorted(set(names)))
        if len(learned) >= _READ:
            break
    said: dict[str, dict[str, tuple[str, ...]]] = {"activity": {}, "reason": {}, "finding": {}}
    texts_of = {content_key(t): t for t in work} | {content_key("", t): t for t in named}
    for key in sorted(corrections.by_key):
        rows = corrections.by_key[key]
        text = texts_of.get(key) or rows[0].text or rows[0].part_description
        names = tuple(sorted({n for row in rows for n in row.components}))
        if text and (names or any(row.is_none for row in rows)):
            learned[text] = names
        for row in rows if text else ():
            for column in said:
                if value := str(getattr(row, column)):
                    said[column].setdefault(text, (value,))
    return learned, said


def _read_as(
    asked: list[OpenText],
    components: list[Proposal],
    reader_of: Callable[[list[str]], dict[str, Reading]],
) -> list[Mention]:
    """What the lexicon's other words say of the proposed component: "(it): text" is read."""
    blank = Mention("", "", "", (), "", 0)
    as_said = {
        f"{p.values[0].split(' (')[0]}: {o.text}": p.values[0]
        for o, p in zip(asked, components, strict=True) if p.values
    }  # fmt: skip
    read = reader_of(list(as_said)) if as_said else {}
    out = []
    for one, proposal in zip(asked, components, strict=True):
        mention = blank
        if proposal.values:
            name = proposal.values[0]
            reading = read[f"{name.split(' (')[0]}: {one.text}"]
            of = {m.component.removeprefix(AMBIGUOUS): m for m in reading.mentions}
            loose = [m for names, m in of.items() if name in names.split("|")]
            mention = of.get(name) or next(iter(loose), blank)
        out.append(mention)
    return out


def use_guesses(
    asked: list[OpenText],
    guesses: Guesses,
    work: dict[str, Reading],
    guess_from: float,
) -> tuple[dict[str, Reading], dict[str, tuple[tuple[str, ...], float]], int]:
    """Readings of work texts and components of part lines, where the model is sure enough.

    Returns
    -------
    tuple
        Readings to put in place, components with confidence of part descriptions, and the number
        of texts coded so. Spellings of one content key share it.
    """
    place = {o.key: i for i, o in enumerate(asked)}
    readings: dict[str, Reading] = {}
    parts: dict[str, tuple[tuple[str, ...], float]] = {}
    used: set[int] = set()
    for text, reading in work.items():
        at = place.get(content_key("", text))
        if at is not None and (p := guesses.components[at]).values and p.confidence >= guess_from:
            parts[text] = (p.values, p.confidence)
            used.add(at)
        at = place.get(content_key(text))
        if at is None:
            continue
        p = guesses.components[at]
        if not p.values or p.confidence < guess_from:
            continue
        used.add(at)
        mentions = [
            Mention(
                c, guesses.activities[at], guesses.findings[at].replace("untested", ""), (),
                guesses.reasons[at], 0, confidence=p.confidence,
            )
            for c in p.values
        ]  # fmt: skip
        is_fault = reading.is_fault or guesses.findings[at] in ("failed", "over limit")
        readings[text] = Reading(
            mentions, reading.spoken | {"proposed"}, reading.tickets, reading.points_to, is_fault
        )
    return readings, parts, len(used)


def review_table(asked: list[OpenText], guesses: Guesses, corrections: Corrections) -> pd.DataFrame:
    """Table to_review: the open texts in the order in which labels help most."""
    labelled = [r[0].text or r[0].part_description for r in corrections.by_key.values()]
    order = label_order(
        [o.text for o in asked], [o.n_lines for o in asked], labelled=[t for t in labelled if t],
        doubt=guesses.doubt,
    )  # fmt: skip
    rows = [
        {
            "review_order": number, "content_key": asked[i].key, "n_lines": asked[i].n_lines,
            "text": "" if asked[i].is_part else asked[i].text,
            "part_description": asked[i].text if asked[i].is_part else "",
            "guess_component": ";".join(sorted(guesses.components[i].values)),
            "guess_activity": guesses.activities[i], "guess_reason": guesses.reasons[i],
            "guess_finding": guesses.findings[i],
            "guess_confidence": guesses.components[i].confidence,
            "example_ticket": asked[i].ticket,
        }
        for number, i in enumerate(order, start=1)
    ]  # fmt: skip
    return as_table("to_review", pd.DataFrame(rows))


def corrections_used(corrections: Corrections, lines: pd.DataFrame) -> pd.DataFrame:
    """Each correction with the number of lines whose text or part description it speaks of."""
    is_part = lines["line_kind"].isin(["part", "credit", "core"])
    keys: Counter[str] = Counter()
    for frame, column, of_part in (
        (lines[is_part], "description", True), (lines[~is_part], "description", False),
        (lines, "work_done", False),
    ):  # fmt: skip
        for text, n in frame.loc[frame[column] != "", column].value_counts().items():
            keys[content_key("", str(text)) if of_part else content_key(str(text))] += int(n)
    rows = [
        {
            "source_row": c.row, "content_key": c.key, "text": normalised(c.text),
            "part_description": normalised(c.part_description),
            "component": "none" if c.is_none else ";".join(sorted(c.components)),
            "activity": c.activity, "reason": c.reason, "finding": c.finding,
            "n_lines": keys[c.key],
        }
        for rows_of_key in corrections.by_key.values() for c in rows_of_key
    ]  # fmt: skip
    return as_table("corrections_used", pd.DataFrame(rows))


def answers_of(
    corrected: dict[str, tuple[str, ...]],
    read: dict[str, Reading],
    proposed: dict[str, tuple[tuple[str, ...], float]],
) -> Answers:
    """What stands beside the lexicon for part lines."""
    return Answers(corrected, {t: p for t, p in proposed.items() if t not in corrected}, read)
