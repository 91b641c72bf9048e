"""In which order a person labels texts, so that each label says most about those still open."""

import heapq
import re
from collections import Counter
from collections.abc import Sequence

from dutylife.coding.guess import WORD, masked

_AGAIN = 0.6  # worth of a word each further time it was labelled
_LENGTH = 0.7  # power of the length that a text is held down by
_COMMON = 200  # lines from which on a word is not worth more
_PICKED = 2000  # texts put in order by worth; the rest follow by number of lines


def label_order(
    texts: Sequence[str],
    n_lines: Sequence[int],
    *,
    labelled: Sequence[str] = (),
    doubt: Sequence[float] | None = None,
) -> list[int]:
    """Places of the texts, the one to label first in front.

    A text is worth the lines its words stand in; a word counts less each time it was labelled
    (so that texts differ), long texts are held down by a power of their length, and all is
    weighed by the root of how unsure the model is.

    Parameters
    ----------
    texts, n_lines : sequence
        Texts still open and in how many lines each stands.
    labelled : sequence of str
        Texts that have a label.
    doubt : sequence of float, optional
        From `TextModel.doubt`; all alike when not given.
    """
    find = re.compile(WORD).findall
    words = [sorted(set(find(masked(t)))) for t in texts]
    seen = Counter(w for t in labelled for w in set(find(masked(t))))
    often: Counter[str] = Counter()
    for have, n in zip(words, n_lines, strict=True):
        for word in have:
            often[word] += n
    sure = [1.0] * len(texts) if doubt is None else [max(d, 1e-6) ** 0.5 for d in doubt]

    def worth(k: int) -> float:
        have = words[k]
        if not have:
            return 0.0
        total = sum(min(often[w], _COMMON) * _AGAIN ** seen[w] for w in have)
        return float(sure[k] * total / len(have) ** _LENGTH)

    # a worth only falls as labels are added, so only the text in front has to be looked at again
    heap = [(-worth(k), -n_lines[k], texts[k], k) for k in range(len(texts))]
    heapq.heapify(heap)
    out: list[int] = []
    while heap and len(out) < _PICKED:
        _, n, text, k = heapq.heappop(heap)
        now = -worth(k)
        if heap and (now, n, text, k) > heap[0]:
            heapq.heappush(heap, (now, n, text, k))
            continue
        out.append(k)
        seen.update(words[k])
    return out + [k for *_, k in sorted((h[1], h[2], h[3]) for h in heap)]
