"""What a complaint says, in signs by which like complaints are found."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from dutylife.coding.lexicon import AMBIGUOUS, build_lexicon
from dutylife.coding.matching import Match
from dutylife.coding.texts import TextReader
from dutylife.settings import Settings

# they say that it happens again, not what happens
_AGAIN = ("same again", "back again", "fault came back", "came back")


@dataclass(frozen=True, slots=True)
class Sign:
    """One complaint as read.

    Parameters
    ----------
    words : str
        Phrases of the lexicon in it, sorted, joined by ``; ``; those that point to a component
        stand alone where there are any. Its words where no phrase is known; blank where it says
        nothing.
    points_to : tuple of str
        Components the lexicon points to, or the complaint names.
    is_known : bool
        The words are phrases of the lexicon.
    """

    words: str
    points_to: tuple[str, ...]
    is_known: bool


def complaint_signs(
    texts: Iterable[str], settings: Settings, asked: Iterable[str] = ()
) -> dict[str, Sign]:
    """Read complaints; two are like one another when they have the same words.

    Parameters
    ----------
    texts : iterable of str
        Complaints of the record, one for each ticket: what is written often is no slip.
    settings : Settings
    asked : iterable of str
        Complaints asked about, read with the words of the record.

    Returns
    -------
    dict of str to Sign

    Raises
    ------
    SettingsError
        The lexicon or a component of the settings can't be used.
    """
    counts = Counter(texts)
    for text in asked:
        counts[text] += 1
    reader = TextReader(build_lexicon(settings), counts)
    return {text: _sign(text, reader) for text in counts}


def _sign(text: str, reader: TextReader) -> Sign:
    words, found = reader.phrases(text)
    pointing: set[str] = set()
    plain: set[str] = set()
    components: set[str] = set()
    for match in found:
        said = " ".join(words[match.first : match.last])
        points = _points(match)
        if points:
            pointing.add(said)
            components |= points
        elif any(m.kind in ("complaint", "mode", "finding") for m in match.meanings):
            plain.add(said)
    telling = pointing or plain - set(_AGAIN)
    if telling:
        return Sign("; ".join(sorted(telling)), tuple(sorted(components)), is_known=True)
    again = {w for phrase in plain for w in phrase.split(" ")}
    rest = sorted({w for w in words if not w[0].isdigit()} - again)
    return Sign(" ".join(rest), (), is_known=False)


def _points(match: Match) -> set[str]:
    """Components a phrase points to or names; all candidates of a name that several share."""
    out: set[str] = set()
    for meaning in match.meanings:
        if meaning.kind == "complaint":
            out |= {c for c in meaning.value.split(";") if c}
        elif meaning.kind == "component":
            out |= set(meaning.value.removeprefix(AMBIGUOUS).split("|"))
    return out
