"""Typed text of the practice fleet's tickets: phrases, readings, slips, habits of case."""

import tomllib
from functools import cache
from importlib import resources
from typing import Any

from dutylife.errors import SettingsError
from dutylife.practice.parts import MAIN
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.practice.visits import CHECK, OTHER, SERVICE, WARRANTY, Visit, Work

# a cap drifts from its marked value to the limit over its life; a brush wears from new to reject
CAP_NOMINAL_KOHM, CAP_LIMIT_KOHM = 10.0, 12.5
BRUSH_NEW_MM, BRUSH_LIMIT_MM = 15.0, 5.0
CAP, BRUSHES = "ignition cap", "generator brushes and slip rings"
SHORTEST_SLIP = 5
PLAIN_READING_SHARE = 0.65  # of the services of the plain fleet at which such a part is read


@cache
def phrases() -> dict[str, Any]:
    """Return the phrases of phrases.toml."""
    text = resources.files("dutylife.practice").joinpath("phrases.toml").read_text("utf-8")
    return tomllib.loads(text)


def require_phrases(scenario: Scenario) -> None:
    """Raise SettingsError when a component of the scenario has no phrases.

    Raises
    ------
    SettingsError
        Every component without phrases, at once.
    """
    known = phrases()["components"]
    lacking = sorted(set(scenario.components) - set(known))
    if lacking:
        raise SettingsError(
            f"No typed texts are known for {len(lacking)} of the practice components.",
            "components: " + ", ".join(lacking),
            "use components of: " + ", ".join(sorted(known)),
        )


class Typist:
    """Types what was said and done at one visit.

    Parameters
    ----------
    scenario : Scenario
    stream : Stream
        The visit's own chance.
    """

    def __init__(self, scenario: Scenario, stream: Stream) -> None:
        self.scenario = scenario
        self.stream = stream
        self.words: dict[str, list[str]] = phrases()["words"]
        self.components: dict[str, dict[str, Any]] = phrases()["components"]
        self._case = stream.pick(("lower", "upper", "first"), (0.60, 0.15, 0.25))

    def complaint(self, visit: Visit) -> str:
        """Return what the customer said was wrong."""
        if visit.kind == SERVICE:
            return self._typed(self.stream.pick(self.words["service_said"]))
        if visit.kind in (CHECK, OTHER):
            return self._typed(self.stream.pick(self.words[f"{visit.kind}_said"]))
        if self.stream.chance(0.05):
            return ""
        cause = visit.causes[0].component
        vague = self.scenario.visits.vague_complaint_share
        is_vague = vague > 0 and self.stream.chance(vague)
        said = self.stream.pick(self.components[cause]["said_vaguely" if is_vague else "said"])
        if visit.kind == WARRANTY:
            said = f"{self.stream.pick(self.words['comeback_said'])}, {said}"
        return self._typed(said)

    def work(self, visit: Visit) -> str:
        """Return what the shop wrote it did."""
        if visit.kind == SERVICE:
            return self._typed(self._service(visit))
        if visit.kind == CHECK:
            return self._typed(self._check(visit))
        if visit.kind == OTHER:
            return self._typed(self.stream.pick(self.words["other_work"]))
        if visit.is_shotgun:
            return self._typed(self.stream.pick(self.words["vague"]))
        if len(visit.causes) == 1 and self.stream.chance(self.scenario.visits.vague_share):
            return self._typed(self.stream.pick(self.words["vague"]))
        return self._typed(self._repair(visit))

    def part_name(self, component: str) -> str:
        """Return a name of the part as someone types it on a line."""
        names = self.components[component]["names"] if component in self.components else []
        if not names:
            return self._typed(component)
        return self._typed(names[0] if self.stream.chance(0.6) else self.stream.pick(names))

    def phrase(self, kind: str) -> str:
        """Return one of a list of plain phrases: labour, fee, note, ..."""
        return self.stream.pick(self.words[kind])

    def _repair(self, visit: Visit) -> str:
        said = []
        if visit.kind == WARRANTY:
            said.append(self.stream.pick(self.words["comeback"]))
        said += [self._fault(cause) for cause in visit.causes]
        for work in visit.works:
            if work.reason == "opportunistic":
                name = self._name(work.component)
                said.append(self._fill(self.stream.pick(self.words["while_there"]), name=name))
        causes = {cause.component for cause in visit.causes}
        # reading the cap is part of looking at a spark or fuel fault
        if causes & {"spark plug", "carburetor"} and CAP not in causes and self._is_read(0.15):
            said.append(self._checked(CAP, visit))
        if self.stream.chance(0.35):
            said.append(self.stream.pick(self.words["ending"]))
        return self.stream.pick((". ", "; ")).join(said)

    def _fault(self, cause: Work) -> str:
        is_cleaned = cause.activity == "clean"
        found = [
            f
            for f in self.components[cause.component]["found"]
            if (f.get("done") == "clean") == is_cleaned
        ] or self.components[cause.component]["found"]
        found = self._of_mode(found, cause.mode)
        fault = self.stream.pick(found, [f["weight"] for f in found])
        done = self.stream.pick(self.words["cleaned" if is_cleaned else "done"])
        return f"{self._fill(fault['text'], has_failed=True)}, {done}"

    def _of_mode(self, found: list[dict[str, Any]], mode: str) -> list[dict[str, Any]]:
        """Keep the faults of a way to fail: the last one listed is how the other ways look."""
        is_plain = mode == MAIN and self.scenario.second_mode.strength <= 0
        if len(found) < 2 or not mode or is_plain:
            return found
        return found[:-1] if mode == MAIN else found[-1:]

    def _service(self, visit: Visit) -> str:
        said = [self.stream.pick(self.words["service"])]
        if self.scenario.engines[visit.machine.engine].oil_part:
            said.append(self.stream.pick(("oil changed", "engine oil changed", "new oil")))
        done = {work.component for work in visit.works}
        for work in visit.works:
            name = self._name(work.component)
            said.append(self._fill(self.stream.pick(self.words["renewed"]), name=name))
        for component in visit.machine.components:
            if component in done:
                continue
            is_measured = component in (CAP, BRUSHES)
            if self._is_read(0.65) if is_measured else self.stream.chance(0.35):
                said.append(self._checked(component, visit))
        return ", ".join(said)

    def _check(self, visit: Visit) -> str:
        said = [self.stream.pick(self.words["check_work"])]
        if self._is_read(0.4):
            said.append(self._checked(CAP, visit))
        if BRUSHES in visit.shares and self._is_read(0.4):
            said.append(self._checked(BRUSHES, visit))
        return ". ".join(said)

    def _is_read(self, share: float) -> bool:
        """Whether a measured part is read: the share at the plain fleet's strength of readings."""
        return self.stream.chance(share * self.scenario.visits.reading_share / PLAIN_READING_SHARE)

    def _checked(self, component: str, visit: Visit) -> str:
        phrase = self.stream.pick(self.components[component]["checked"])
        return self._fill(phrase, life_share=visit.shares[component])

    def _name(self, component: str) -> str:
        names: list[str] = self.components[component]["names"]
        return self.stream.pick(names)

    def _fill(
        self, phrase: str, *, name: str = "", life_share: float = 1.0, has_failed: bool = False
    ) -> str:
        if "{reads}" in phrase:
            phrase = phrase.replace("{reads}", self.stream.pick(self.words["reads"]))
        if "{kohm}" in phrase:
            kohm = (
                self.stream.uniform(CAP_LIMIT_KOHM + 0.3, 18.0)
                if has_failed
                else CAP_NOMINAL_KOHM
                + (CAP_LIMIT_KOHM - CAP_NOMINAL_KOHM) * life_share**1.5 * 0.95
                + self.stream.uniform(-0.1, 0.1)
            )
            phrase = phrase.replace("{kohm}", f"{kohm:.1f}")
        if "{mm}" in phrase:
            length = (
                self.stream.uniform(3.0, BRUSH_LIMIT_MM)
                if has_failed
                else BRUSH_NEW_MM - (BRUSH_NEW_MM - BRUSH_LIMIT_MM) * life_share * 0.95
            )
            phrase = phrase.replace("{mm}", f"{length:.0f}")
        return phrase.replace("{name}", name)

    def _typed(self, text: str) -> str:
        """Put slips of the fingers and the typist's habit of case on a text."""
        text = " ".join(self._slip(word) for word in text.split(" "))
        if self._case == "upper":
            return text.upper()
        return text[:1].upper() + text[1:] if self._case == "first" else text

    def _slips(self) -> bool:
        return self.stream.chance(self.scenario.visits.slip_share)

    def _slip(self, word: str) -> str:
        if len(word) < SHORTEST_SLIP or not word.isalpha() or not self._slips():
            return word
        at = self.stream.integer(1, len(word) - 3)
        if self.stream.chance(0.5):
            return word[:at] + word[at + 1 :]
        return word[:at] + word[at + 1] + word[at] + word[at + 2 :]
