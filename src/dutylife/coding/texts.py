"""Every unlike text of the lines read once: tokens, slips, phrases, what is said of components."""

import re
from collections import Counter
from collections.abc import Iterable

from dutylife.coding import mentions
from dutylife.coding.lexicon import Lexicon
from dutylife.coding.matching import BREAK, Match, Matcher, Token, split_text, tokens_of
from dutylife.coding.mentions import Reading, part_component, read_matches
from dutylife.coding.spelling import corrections, plurals

_SWAPPED = re.compile(r"^([^,;]+),\s*([^,;]+)$")
_STRANGE, _FIGURE = "_", "0"


def _context_words() -> frozenset[str]:
    """Words that `mentions` looks at though no phrase holds them: its tuples of words."""
    lists = (v for v in vars(mentions).values() if isinstance(v, (tuple, frozenset)))
    return frozenset(w for words in lists for w in words if isinstance(w, str))


class TextReader:
    """Reads texts with one lexicon.

    Texts that are alike but for words no phrase holds ("ref J20001") and for figures are read
    once: nothing that is said of a component hangs on these.

    Parameters
    ----------
    lexicon : Lexicon
        Phrases and components.
    counts : Counter
        Every text and in how many lines it stands; slips are judged on all of them.
    """

    def __init__(self, lexicon: Lexicon, counts: Counter[str]) -> None:
        self._split = {text: split_text(text) for text in counts}
        words: Counter[str] = Counter()
        for text, split in self._split.items():
            n_lines = counts[text]
            for word in set(split):
                words[word] += n_lines
        del words[BREAK]
        every = lexicon.phrases
        at_work = {
            p: kept for p, meanings in every.items()
            if (kept := tuple(m for m in meanings if m.kind != "complaint"))
        }  # fmt: skip
        self._in_work = Matcher(at_work, words)
        self._in_complaint = Matcher(every, words)
        known = lexicon.known_tokens
        by_star = {t for t in words if self._in_complaint.starts(t)}
        self.slips = corrections(
            words, known | by_star, lexicon.plain, lexicon.senses, lexicon.foreign
        )
        self._as_known = {**plurals(words, known | by_star), **self.slips}
        self.n_slips = sum(words[w] for w in self.slips)
        told = self._in_complaint.words | _context_words() | {BREAK}
        self._masked = {BREAK: BREAK}
        for word in words:
            meant = self._as_known.get(word, word)
            strange = _FIGURE if meant[0].isdigit() else _STRANGE
            self._masked[word] = meant if meant in told else strange
        self._readings: dict[tuple[int, str], Reading] = {}

    def tokens(self, text: str) -> list[Token]:
        """Tokens of a text, slips corrected."""
        return [t._replace(word=self._as_known.get(t.word, t.word)) for t in tokens_of(text)]

    def work(self, texts: Iterable[str]) -> dict[str, Reading]:
        """Work texts and line texts as read; like ones share a reading."""
        return {t: self._read(t, self._in_work) for t in texts}

    def complaints(self, texts: Iterable[str]) -> dict[str, Reading]:
        """Complaints as read; what they point to is known."""
        return {t: self._read(t, self._in_complaint) for t in texts}

    def parts(self, texts: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """Components named by the descriptions of part lines."""
        return {t: self._part(t) for t in texts}

    def component_places(self, text: str) -> list[tuple[int, int, str]]:
        """Where components stand in the folded text: start, end, component."""
        tokens = self.tokens(text)
        found = self._in_work.find([t.word for t in tokens], [t.clause for t in tokens])
        return [
            (tokens[m.first].start, tokens[m.last - 1].end, meaning.value)
            for m in found for meaning in m.meanings if meaning.kind == "component"
        ]  # fmt: skip

    def phrases(self, text: str) -> tuple[list[str], list[Match]]:
        """Words of a complaint, slips corrected, and the phrases found among them."""
        tokens = self.tokens(text)
        words = [t.word for t in tokens]
        return words, self._in_complaint.find(words, [t.clause for t in tokens])

    def _read(self, text: str, matcher: Matcher) -> Reading:
        masked = self._masked
        key = (id(matcher), " ".join([masked[w] for w in self._split[text]]))
        reading = self._readings.get(key)
        if reading is None:
            words: list[str] = []
            clauses: list[int] = []
            clause = 0
            for word in key[1].split():
                if word == BREAK:
                    clause += 1
                else:
                    words.append(word)
                    clauses.append(clause)
            reading = read_matches(words, clauses, matcher.find(words, clauses))
            self._readings[key] = reading
        return reading

    def _part(self, text: str) -> tuple[str, ...]:
        tokens = [t.word for t in self.tokens(text)]
        here = self._named(tokens)
        swapped = _SWAPPED.match(text)
        if not swapped:
            return here[1]
        # "cap, spark plug" is the spark plug cap
        first = [self._as_known.get(t.word, t.word) for t in tokens_of(swapped.group(1))]
        there = self._named([*tokens[len(first) :], *first])
        return there[1] if there[0] > here[0] else here[1]

    def _named(self, words: list[str]) -> tuple[int, tuple[str, ...]]:
        found = self._in_work.find(words, [0] * len(words))
        lengths = [
            m.last - m.first for m in found if any(x.kind == "component" for x in m.meanings)
        ]
        return max(lengths, default=0), part_component(words, found)
