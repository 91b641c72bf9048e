"""What a text says of each component: activity, finding, failure mode, reason; clause by clause."""

from dataclasses import dataclass, field
from typing import NamedTuple

from dutylife.coding.lexicon import AMBIGUOUS
from dutylife.coding.matching import Match

STRENGTH = ("replace", "repair", "clean", "adjust", "test", "inspect")  # the strongest stands
SEVERITY = ("failed", "over limit", "worn", "ok")
_WORKED_ON = STRENGTH[:4]
_KEPT = ("repair", "clean", "adjust", "test")
_OF_NEW = "of new"  # a new part was declined; what else was done stands
_NOT = ("not", "no", "did", "does", "nicht", "pas", "non", "niet", "noch", "nog")
_SOFT = ("and", "then", "but", "plus", "with", "also")


class Mention(NamedTuple):
    """What one text says of one component; blanks where it says nothing."""

    component: str
    activity: str
    finding: str
    modes: tuple[str, ...]
    reason: str
    at: int
    is_sure: bool = False  # the reason is a person's, whatever the finding
    confidence: float = 1.0  # under 1 where a model proposed it


@dataclass(slots=True)
class Reading:
    """A text as read.

    Parameters
    ----------
    mentions : list of Mention
        One for each component, in the order of first mention.
    spoken : frozenset of str
        Kinds of phrases found, e.g. other, activity.
    tickets : frozenset of str
        Kinds of job named (preventive, failure).
    points_to : tuple of str
        Components a complaint points to.
    is_fault : bool
        A complaint or a failure is told.
    """

    mentions: list[Mention] = field(default_factory=list)
    spoken: frozenset[str] = frozenset()
    tickets: frozenset[str] = frozenset()
    points_to: tuple[str, ...] = ()
    is_fault: bool = False


class _Item(NamedTuple):
    kind: str
    value: str
    at: int
    phrase: str = ""


@dataclass(slots=True)
class _Said:
    """Everything said of one component so far."""

    at: int
    activities: list[str] = field(default_factory=list)
    findings: list[str] = field(default_factory=list)
    modes: list[str] = field(default_factory=list)
    reason: str = ""

    def do(self, activity: str) -> None:
        self.activities.append(activity)

    def decline(self, kept: tuple[str, ...]) -> None:
        """Only looked at, but for what was done instead of what was declined."""
        self.activities = [a for a in self.activities if a in kept] or ["inspect"]

    def find(self, item: _Item, *, is_before: bool = False) -> None:
        """Add a finding; an "ok" after work was done tells how it is now, not how it was found."""
        finding = "failed" if item.kind == "mode" else item.value
        is_done = any(a in _WORKED_ON for a in self.activities)
        if finding == "ok" and is_done and not is_before:
            return
        self.findings.append(finding)
        if finding != "ok":
            self.modes += [item.phrase, item.value] if item.kind == "mode" else [item.phrase]

    def as_mention(self, component: str) -> Mention:
        done = min(self.activities, key=STRENGTH.index, default="")
        found = min(self.findings, key=SEVERITY.index, default="")
        return Mention(component, done, found, tuple(self.modes), self.reason, self.at)


def read_matches(words: list[str], clauses: list[int], matches: list[Match]) -> Reading:
    """Bind activities, findings and reasons to components.

    Within a clause a word binds to the components before it when the clause starts with a
    component, else to those after it; a clause without a component speaks of the last one.

    Parameters
    ----------
    words : list of str
        Tokens of the text.
    clauses : list of int
        Clause of each token.
    matches : list of Match
        Phrases in it, in order.
    """
    measured = {c for w, c in zip(words, clauses, strict=True) if w[0].isdigit()}
    said: dict[str, _Said] = {}
    kinds: set[str] = set()
    tickets: set[str] = set()
    points: list[str] = []
    is_fault = False
    state = _State(said)
    parted = [(c[0].clause, _items(words, c)) for c in _clauses(words, matches)]
    for place, (number, items) in enumerate(parted):
        after = parted[place + 1][1] if place + 1 < len(parted) else []
        for item in items:
            kinds.add(item.kind)
            if item.kind == "ticket":
                tickets.add(item.value)
            elif item.kind == "complaint":
                is_fault = True
                points += [c for c in item.value.split(";") if c and c not in points]
            elif item.kind == "mode" or (item.kind == "finding" and item.value == "failed"):
                is_fault = True
        # "new filter, cap 10 kohm, ok": the cap was measured, not renewed with the filter
        is_bare = number not in measured and not _only_states(after)
        state.take(items, is_bare=is_bare)
    return Reading(
        [s.as_mention(c) for c, s in said.items()],
        frozenset(kinds), frozenset(tickets), tuple(points), is_fault,
    )  # fmt: skip


def _clauses(words: list[str], matches: list[Match]) -> list[list[Match]]:
    """Matches by clause; "and" parts a clause when both sides have their own verb and component."""
    out: list[list[Match]] = []
    for match in matches:
        if out and out[-1][-1].clause == match.clause:
            out[-1].append(match)
        else:
            out.append([match])
    parted: list[list[Match]] = []
    for clause in out:
        start = 0
        for cut in range(1, len(clause)):
            between = words[clause[cut - 1].last : clause[cut].first]
            if not any(w in _SOFT for w in between):
                continue
            if _is_whole(clause[start:cut]) and _is_whole(clause[cut:]):
                parted.append(clause[start:cut])
                start = cut
        parted.append(clause[start:])
    return parted


def _only_states(items: list[_Item]) -> bool:
    kinds = {i.kind for i in items}
    return "component" not in kinds and bool(kinds & {"finding", "mode", "activity"})


def _is_whole(part: list[Match]) -> bool:
    kinds = {m.kind for match in part for m in match.meanings}
    return "component" in kinds and bool(kinds & {"activity", "finding", "mode"})


def _items(words: list[str], clause: list[Match]) -> list[_Item]:
    """Meanings in order; a negation before a verb or a failure turns it round."""
    items: list[_Item] = []
    negated_at = -9
    for match in clause:
        phrase = " ".join(words[match.first : match.last])
        for meaning in match.meanings:
            kind, value = meaning.kind, meaning.value
            is_negated = 0 < match.first - negated_at <= 2
            if kind == "negation" and value == "words":
                negated_at = match.last
                continue
            if kind == "negation":
                of_new = _OF_NEW if phrase.split(" ")[0] in _NOT else ""
                items.append(_Item("declined", of_new, match.first))
                continue
            if is_negated or match.first == negated_at:
                if kind in ("mode", "finding"):
                    kind, value = "finding", "ok" if value != "ok" else "failed"
                elif kind == "activity":
                    kind, value = "declined", _OF_NEW if value == "replace" else ""
                elif kind == "reason" and value == "failure":  # "cap not the cause"
                    kind, value = "finding", "ok"
            items.append(_Item(kind, value, match.first, phrase))
    return items


class _State:
    """Clauses taken one after the other; remembers which component was spoken of last."""

    def __init__(self, said: dict[str, _Said]) -> None:
        self.said = said
        self.last: list[str] = []
        self.waiting: list[str] = []  # named without a verb: "plug, cap and filter renewed"
        self.verb = ""  # the clause before began with it: "renewed plug, cap, filter"
        self.reason = ""

    def take(self, items: list[_Item], *, is_bare: bool) -> None:
        named = [i for i in items if i.kind == "component"]
        verbs = [i for i in items if i.kind == "activity"]
        states = [i for i in items if i.kind in ("finding", "mode")]
        reasons = [i.value for i in items if i.kind == "reason"]
        declined = [i.value for i in items if i.kind == "declined"]
        is_declined = bool(declined)
        kept = _KEPT if is_declined and set(declined) == {_OF_NEW} else ()
        for item in named:
            self.said.setdefault(item.value, _Said(item.at))
        if not named:
            self._without_component(verbs, states, reasons, is_declined, kept)
            return
        names = list(dict.fromkeys(i.value for i in named))
        for name, item in _spread(named, verbs, to_trailing=True):
            is_off = is_declined and item.value not in kept
            self.said[name].do("inspect" if is_off else item.value)
        if not is_declined:
            self._share_verb(named, verbs, names if is_bare and not verbs and not states else [])
        for name, item in _spread(named, states, to_trailing=False):
            self.said[name].find(item, is_before=not verbs or item.at < verbs[0].at)
        if is_declined:
            for name in names:
                self.said[name].decline(kept)
        for name in names:
            reason = reasons[0] if reasons else self.reason
            self.said[name].reason = self.said[name].reason or reason
        self.reason = ""
        self.waiting = names if is_bare and not verbs and not states else []
        if verbs or states:
            self.verb = verbs[0].value if verbs and verbs[0].at <= named[0].at else ""
        self.last = names

    def _share_verb(self, named: list[_Item], verbs: list[_Item], bare: list[str]) -> None:
        """A list has its verb once, in front or at the end."""
        if verbs and named[0].at < verbs[0].at:
            for name in self.waiting:
                self.said[name].do(verbs[0].value)
        if self.verb:
            for name in bare:
                self.said[name].do(self.verb)

    def _without_component(
        self, verbs: list[_Item], states: list[_Item], reasons: list[str], is_declined: bool,
        kept: tuple[str, ...],
    ) -> None:  # fmt: skip
        if not self.last:
            self.reason = reasons[0] if reasons else self.reason
            self.verb = verbs[0].value if verbs and not states else ""
            return
        for name in self.last:
            said = self.said[name]
            for item in verbs:
                said.do("inspect" if is_declined and item.value not in kept else item.value)
            for item in states:
                said.find(item)
            if is_declined:
                said.decline(kept)
            if reasons and (verbs or states):
                said.reason = said.reason or reasons[0]
        if reasons and not verbs and not states:
            self.reason = reasons[0]
        self.waiting = []
        self.verb = ""


def _spread(
    named: list[_Item], items: list[_Item], *, to_trailing: bool
) -> list[tuple[str, _Item]]:
    """Which component each item speaks of."""
    if not items:
        return []
    out: list[tuple[str, _Item]] = []
    if named[0].at <= items[0].at:  # "plug worn, cap open": each item speaks of those before it
        start = -1
        for item in items:
            hit = [n for n in named if start < n.at <= item.at]
            hit = hit or [max((n for n in named if n.at <= item.at), key=lambda n: n.at)]
            out += [(n.value, item) for n in hit]
            start = item.at
        if to_trailing:
            out += [(n.value, items[-1]) for n in named if n.at > items[-1].at]
        return out
    for place, item in enumerate(items):  # "renewed plug and cap, cleaned carb"
        end = items[place + 1].at if place + 1 < len(items) else 1 << 30
        hit = [n for n in named if item.at <= n.at < end]
        hit = hit or [n for n in named if n.at >= item.at][:1] or [named[-1]]
        out += [(n.value, item) for n in hit]
    return out


def part_component(words: list[str], matches: list[Match]) -> tuple[str, ...]:
    """Components a part line's description names; several for a kit.

    What follows "for", "fits" or "suit" is where the part goes. Among several names the longest
    phrase stands, the last of equals, unless a word of a kit joins them.
    """
    end = next((i for i, w in enumerate(words) if i and w in ("for", "fits", "suit", "suits")), 0)
    found = [
        (match.last - match.first, match.first, m.value)
        for match in matches for m in match.meanings if m.kind == "component"
    ]  # fmt: skip
    before = [f for f in found if f[1] < end] if end else found
    found = before or found
    names = list(dict.fromkeys(f[2] for f in found))
    certain = [n for n in names if not n.startswith(AMBIGUOUS)]
    if len(certain) > 1 and any(w in ("kit", "set", "and", "plus") for w in words):
        return tuple(sorted(certain))
    return (max(found)[2],) if found else ()
