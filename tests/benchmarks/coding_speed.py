"""P16: texts coded, against one regular expression that holds every phrase of the lexicon."""

import re
from collections import Counter
from collections.abc import Iterable

from made_lines import many_lines
from measuring import Aim, Benchmark, Pair

from dutylife.coding.lexicon import Lexicon, build_lexicon
from dutylife.coding.texts import TextReader
from dutylife.settings import settings_from


def alternation(lexicon: Lexicon) -> re.Pattern[str]:
    """Every phrase of the lexicon in one pattern, longest first; stars are any letters."""
    phrases = sorted(lexicon.phrases, key=lambda p: (-len(" ".join(p)), p))
    words = [
        r"[^a-z0-9]+".join(re.escape(t).replace(r"\*", "[a-z0-9]*") for t in p) for p in phrases
    ]
    return re.compile(r"(?<![a-z0-9])(?:" + "|".join(words) + r")(?![a-z0-9])")


def _code(n_rows: int) -> Iterable[Pair]:
    lexicon = build_lexicon(settings_from({}))
    lines = many_lines(n_rows)
    work = lines["Work"].tolist()
    texts = lines["Text"].tolist()
    both = [*work, *texts]
    pattern = alternation(lexicon)

    def ours() -> object:
        counts = Counter(both)
        counts.pop("", None)
        reader = TextReader(lexicon, counts)
        read = reader.work(counts)
        return [read.get(t) for t in both]

    def plain() -> object:
        return [pattern.findall(t.casefold()) for t in both]

    n_unlike = len(set(both))
    yield Pair(
        f"code the work and line texts of {n_rows} lines ({len(both)} texts, {n_unlike} unlike, "
        f"{len(lexicon.phrases)} phrases) / one alternation regex over the same texts",
        ours,
        plain,
    )


# 0.35 is for matching of one's own, 0.15 what the fastest library of its kind reached
BENCHMARKS = (Benchmark("P16", Aim(0.35), _code),)
