"""The words coding knows: general ones from lexicon.toml, the components' and the shop's own."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources
from typing import Any

from dutylife.coding.matching import Meaning, phrase_tokens
from dutylife.components import Component, components_of, shipped_components, short_name
from dutylife.disk import is_file
from dutylife.errors import SettingsError
from dutylife.settings import Settings
from dutylife.vocabulary import WORDS

SECTIONS = {
    "activities": WORDS["activity"],
    "findings": ("ok", "worn", "over limit", "failed"),
    "failure_modes": None,
    "reasons": WORDS["reason"],
    "ticket_kinds": ("preventive", "failure"),
    "complaints": None,
    "negations": ("words", "declined"),
    "other": ("things", "fees"),
    "components": None,
    "ambiguous": ("words",),
    "plain": ("words",),
    "bare": ("repaired", "around"),
}
# parts of names that are verbs elsewhere: brush set, check valve, test switch
_NO_VERB = ("set", "fit", "new", "rep", "check", "test", "change")
AMBIGUOUS = "?"  # first sign of a component not known yet; the candidates follow, joined by |


@dataclass(frozen=True, slots=True)
class Lexicon:
    """Phrases with their meanings, and the components they speak of.

    Parameters
    ----------
    phrases : dict
        Meanings of each phrase (tuple of tokens).
    modes_of : dict
        For each component, its own name of each general failure mode.
    plain : frozenset of str
        Tokens that are words, but mean nothing here.
    mended, around : frozenset of str
        Tokens that say that something was mended, and not what; and those that may stand around.
    foreign : frozenset of str
        Tokens that only phrases of lexicon_languages.toml hold.
    """

    phrases: dict[tuple[str, ...], tuple[Meaning, ...]]
    components: dict[str, Component]
    modes_of: dict[str, dict[str, str]]
    plain: frozenset[str]
    mended: frozenset[str] = frozenset()
    around: frozenset[str] = frozenset()
    foreign: frozenset[str] = frozenset()

    @property
    def senses(self) -> dict[str, tuple[Meaning, ...]]:
        """Meanings of each phrase of one token."""
        return {p[0]: m for p, m in self.phrases.items() if len(p) == 1}

    @property
    def known_tokens(self) -> frozenset[str]:
        """Every token of every phrase."""
        return frozenset(t for phrase in self.phrases for t in phrase)

    def is_bare(self, tokens: Iterable[str]) -> bool:
        """Whether a work text says nothing, or only that something was mended.

        Parameters
        ----------
        tokens : iterable of str
            Words of the text, slips corrected; figures do not count.
        """
        words = {t for t in tokens if not t[0].isdigit()}
        return not words or (words <= self.mended | self.around and bool(words & self.mended))


def build_lexicon(settings: Settings) -> Lexicon:
    """Put together the words of the package, the components and the shop.

    A word of ``[coding.components]`` wins over the same word shipped for another component, and
    the words of a component that is the shop's own win over longer shipped phrases around them.

    Raises
    ------
    SettingsError
        The lexicon file is missing, or has a section or name that is not known.
    """
    read = _sections(settings)
    components = components_of(settings)
    meanings: dict[tuple[str, ...], list[Meaning]] = {}

    def add(words: Iterable[str], kind: str, value: str, rank: int = 0) -> None:
        for word in words:
            tokens = phrase_tokens(word)
            known = meanings.setdefault(tokens, []) if tokens else []
            if Meaning(kind, value, rank) not in known:
                known.append(Meaning(kind, value, rank))

    for section, kind in (
        ("activities", "activity"), ("findings", "finding"), ("failure_modes", "mode"),
        ("reasons", "reason"), ("ticket_kinds", "ticket"), ("complaints", "complaint"),
        ("negations", "negation"), ("other", "other"),
    ):  # fmt: skip
        for value, words in read[section].items():
            add(words, kind, value)
    _add_components(read, components, settings, meanings)
    shows = read["failure_modes"] | {w: [w] for w in read["findings"]["worn"]}
    tokens = {
        name: [frozenset(phrase_tokens(w)) for w in [name, *words]] for name, words in shows.items()
    }
    modes_of = {c.name: _own_modes(c, tokens) for c in components.values()}
    plain = frozenset(t for w in read["plain"]["words"] for t in phrase_tokens(w))
    phrases = {p: tuple(m) for p, m in meanings.items()}
    mended, around = (
        frozenset(t for w in read["bare"][part] for t in phrase_tokens(w))
        for part in SECTIONS["bare"] or ()
    )
    return Lexicon(phrases, components, modes_of, plain, mended, around, _foreign(phrases))


def _shipped(name: str) -> dict[str, dict[str, list[str]]]:
    text = resources.files("dutylife.coding").joinpath(name).read_text(encoding="utf-8")
    read: dict[str, dict[str, list[str]]] = tomllib.loads(text)
    return read


def _foreign(phrases: Iterable[tuple[str, ...]]) -> frozenset[str]:
    """Tokens of the other languages' phrases that no other phrase holds."""
    sections = _shipped("lexicon_languages.toml").values()
    other = {phrase_tokens(w) for section in sections for words in section.values() for w in words}
    theirs = {t for p in other for t in p}
    return frozenset(theirs - {t for p in phrases if p not in other for t in p})


def _sections(settings: Settings) -> dict[str, dict[str, list[str]]]:
    out = _shipped("lexicon.toml")
    for section, entries in _shipped("lexicon_languages.toml").items():
        for value, words in entries.items():
            out[section][value] = [*out[section].get(value, []), *words]
    if not settings.coding.lexicon:
        return out
    path = settings.folder / settings.coding.lexicon
    where = f"{settings.source}: coding.lexicon ({path.name})"
    if not is_file(path):
        raise SettingsError("The lexicon file does not exist.", where, "check the path")
    try:
        own: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"The lexicon file is not readable TOML: {error}.", where) from error
    faults = []
    for section, entries in own.items():
        if section not in SECTIONS or not isinstance(entries, dict):
            faults.append(f"section '{section}' is not known")
            continue
        allowed = SECTIONS[section]
        for value, words in entries.items():
            if allowed and value not in allowed:
                faults.append(f"{section}.{value} is none of {', '.join(allowed)}")
            elif not isinstance(words, list) or not all(isinstance(w, str) for w in words):
                faults.append(f"{section}.{value} must be a list of words")
            else:
                out[section][value] = [*out[section].get(value, []), *words]
    if faults:
        raise SettingsError(
            f"{len(faults)} faults in the lexicon file: {'; '.join(faults)}.",
            where,
            "sections: " + ", ".join(SECTIONS),
        )
    return out


def _add_components(
    read: dict[str, dict[str, list[str]]],
    components: dict[str, Component],
    settings: Settings,
    meanings: dict[tuple[str, ...], list[Meaning]],
) -> None:
    """Component phrases; one that two components share is marked ambiguous."""
    shipped = shipped_components()
    shared: dict[tuple[str, ...], set[str]] = {}
    general = {short_name(n, components) or n: w for n, w in read["components"].items()}
    unknown = sorted(set(general) - set(components))
    if unknown:
        raise SettingsError(
            f"The lexicon names components that are not known: {', '.join(unknown)}.",
            f"{settings.source}: coding.lexicon",
            "add them under [coding.components] first",
        )
    for component in components.values():
        bare = component.name.split(" (")[0]
        words = (component.name, bare, *component.aliases, *component.words)
        for word in (*words, *general.get(component.name, [])):
            shared.setdefault(phrase_tokens(word), set()).add(component.name)
    for word in read["ambiguous"]["words"]:
        tokens = phrase_tokens(word)
        named = {n for phrase, names in shared.items() if phrase[-1:] == tokens[-1:] for n in names}
        if tokens not in shared or len(shared[tokens]) > 1:
            shared[tokens] = shared.get(tokens, set()) | named
    for tokens, names in shared.items():
        value = min(names) if len(names) == 1 else AMBIGUOUS + "|".join(sorted(names))
        meanings.setdefault(tokens, []).append(Meaning("component", value, 0))
    for given, own in settings.coding.components.items():
        name = short_name(given, components) or given
        rank = 0 if name in shipped else 1
        own_words = own.words if name in shipped else [name, *own.words]
        for word in own_words:
            tokens = phrase_tokens(word)
            others = [m for m in meanings.get(tokens, []) if m.kind != "component"]
            done = [m for t in tokens if t not in _NO_VERB for m in meanings.get((t,), [])]
            # "engine replaced" as a word for the engine says what was done, too
            verbs = [m for m in done if m.kind == "activity" and len(tokens) > 1]
            meanings[tokens] = [*others, *verbs, Meaning("component", name, rank)]


def _own_modes(component: Component, general: dict[str, list[frozenset[str]]]) -> dict[str, str]:
    """Map a general failure mode to the component's own name for it."""
    out: dict[str, str] = {}
    for mode in component.failure_modes:
        name = mode.split(" (")[0]
        said = set(phrase_tokens(name))
        for canonical, words in general.items():
            if canonical not in out and any(w <= said for w in words):
                out[canonical] = name
    return out
