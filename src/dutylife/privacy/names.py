"""Pseudonyms: the same key and name give the same one, month after month; no way back without it.

HMAC (RFC 2104) with SHA-256 of kind and name, of which 60 bits are written. A plain digest would
be no protection: whoever guesses a customer's name could try it.
"""

import base64
import hashlib
import hmac
import re
from collections.abc import Iterable

_SIGNS = 12
_WORD = re.compile(r"\w+")
# a shorter name, or a short number, stands in sentences by chance
_LEAST_LETTERS = 3
_LEAST_DIGITS = 4
_OF_SOMEBODY = ("machine", "customer")  # a short ticket number tells nobody anything


class Pseudonyms:
    """Gives pseudonyms, and finds names inside sentences.

    Parameters
    ----------
    key : bytes
        Secret.

    Examples
    --------
    >>> one, two = Pseudonyms(b"a secret of this shop"), Pseudonyms(b"another secret")
    >>> one.of("customer", "Kerb Crew") == one.of("customer", "kerb  crew")
    True
    >>> one.of("customer", "Kerb Crew") == two.of("customer", "Kerb Crew")
    False
    """

    def __init__(self, key: bytes) -> None:
        self._key = key
        self._known: dict[tuple[str, str], str] = {}
        self._names: dict[str, str] = {}  # names looked for, and of what kind
        self._short: set[str] = set()  # of them those not replaced in sentences
        # first word of a name, folded -> (name, its pseudonym), longest first
        self._by_word: dict[str, list[tuple[str, str]]] = {}

    def of(self, kind: str, name: str) -> str:
        """Pseudonym of one name, ``kind-`` and twelve signs; a blank stays blank."""
        if not name:
            return name
        found = self._known.get((kind, name))
        if found is None:
            told = "".join(name.split()).casefold() if kind in _OF_SOMEBODY else name
            text = f"{kind}\x1f{told}".encode("utf-8", "surrogatepass")
            digest = hmac.new(self._key, text, hashlib.sha256).digest()
            signs = base64.b32encode(digest).decode("ascii").lower()[:_SIGNS]
            found = self._known[kind, name] = f"{kind.replace(' ', '-')}-{signs}"
        return found

    def look_for(self, kind: str, names: Iterable[str]) -> None:
        """From now on `without_names` replaces these names."""
        touched = set()
        for name in names:
            self._names.setdefault(name, kind)
            first = _WORD.search(name)
            least = _LEAST_DIGITS if name.isdecimal() else _LEAST_LETTERS
            if first is None or len(name) < least:
                if kind in _OF_SOMEBODY:
                    self._short.add(name)
                continue
            word = first[0].casefold()
            self._by_word.setdefault(word, []).append((name, self.of(kind, name)))
            touched.add(word)
        for word in touched:
            self._by_word[word].sort(key=lambda pair: -len(pair[0]))

    def known(self, text: str) -> str:
        """Pseudonym of a text that is a name looked for, however short; else blank."""
        kind = self._names.get(text)
        return "" if kind is None or not text else self.of(kind, text)

    def may_name(self, text: str) -> bool:
        """Whether a word or number of it is also a machine or customer, too short to replace."""
        return not self._short.isdisjoint(_WORD.findall(text))

    def without_names(self, text: str) -> str:
        """A sentence with pseudonyms for the names in it; names of several words in any case."""
        out: list[str] = []
        at = 0
        for match in _WORD.finditer(text):
            if match.start() < at:
                continue
            hit = self._name_at(text, match)
            if hit is not None:
                begin, end, pseudonym = hit
                out += [text[at:begin], pseudonym]
                at = end
        return "".join([*out, text[at:]]) if out else text

    def _name_at(self, text: str, match: re.Match[str]) -> tuple[int, int, str] | None:
        for name, pseudonym in self._by_word.get(match[0].casefold(), ()):
            before = _WORD.search(name)
            begin = match.start() - (before.start() if before else 0)
            there = text[max(0, begin) : begin + len(name)]
            is_long = len(_WORD.findall(name)) > 1
            same = there.casefold() == name.casefold() if is_long else there == name
            end = begin + len(name)
            if same and begin >= 0 and not (end < len(text) and _joined(text[end - 1 : end + 1])):
                return begin, end, pseudonym
        return None


def _joined(two: str) -> bool:
    """Whether two neighbours are of one word."""
    return _WORD.fullmatch(two) is not None
