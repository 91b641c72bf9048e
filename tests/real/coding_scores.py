"""Figures of coding on text nobody here wrote.

``PYTHONPATH=src python tests/real/coding_scores.py failure|gold|parts SHARED/data`` prints them.
"""

import json
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.coding.guess import TextModel
from dutylife.coding.keys import normalised
from dutylife.coding.lexicon import build_lexicon
from dutylife.coding.mentions import Reading
from dutylife.coding.order import label_order
from dutylife.coding.texts import TextReader
from dutylife.settings import settings_from

LABELS = Path(__file__).parent / "excavator_failure_labels.csv"
Parts = dict[str, tuple[str, ...]]
_BIG = 50  # rows of a value from which on it counts in the macro figure
_BATCH = 50  # labels between two runs of check


def excavator(data: Path) -> pd.DataFrame:
    """Work orders of five excavators, every cell as text."""
    path = data / "excavator_work_orders" / "excavator_work_orders.csv"
    return pd.read_csv(path, dtype=str, keep_default_na=False)


def read_texts(texts: list[str]) -> dict[str, Reading]:
    """Texts as read with the shipped words alone, complaints included."""
    reader = TextReader(build_lexicon(settings_from({})), Counter(texts))
    return reader.complaints(dict.fromkeys(texts))


def of_two(said: list[bool], true: list[bool]) -> dict[str, float]:
    """Precision, recall, F1 and share right."""
    hits = sum(s and t for s, t in zip(said, true, strict=True))
    right = sum(s == t for s, t in zip(said, true, strict=True))
    precision, recall = hits / max(1, sum(said)), hits / max(1, sum(true))
    f1 = 2 * precision * recall / max(1e-9, precision + recall)
    return {"precision": precision, "recall": recall, "f1": f1, "right": right / len(true)}


def failure_or_not(data: Path) -> dict[str, float]:
    """Does a text tell of a failure: 300 texts labelled by reading, none seen before."""
    labels = pd.read_csv(LABELS)
    every = excavator(data)["OriginalShorttext"]
    texts = every.iloc[labels["row"]].tolist()
    read = read_texts(every.tolist())
    said = [read[t].is_fault or "failure" in read[t].tickets for t in texts]
    return of_two(said, labels["is_failure"].eq(1).tolist())


def gold(data: Path, *, only_second_half: bool = True) -> dict[str, dict[str, float]]:
    """Short texts labelled by two experts: is something replaced, is a fault named."""
    path = data / "short_text_gold" / "entities_gold_1076.json"
    rows = json.loads(path.read_text(encoding="utf-8"))
    rows = rows[len(rows) // 2 :] if only_second_half else rows
    texts = [r["text"] for r in rows]
    read = _with_a_component(texts)
    kinds = [[e["type"] for e in r["entities"]] for r in rows]
    replaced = [any("Replace" in k for k in ks) for ks in kinds]
    faulty = [any("Undesirable" in k for k in ks) for ks in kinds]
    said_new = [any(m.activity == "replace" for m in read[t].mentions) for t in texts]
    said_bad = [read[t].is_fault or _finds(read[t]) for t in texts]
    return {"replaced": of_two(said_new, replaced), "faulty": of_two(said_bad, faulty)}


def _with_a_component(texts: list[str]) -> dict[str, Reading]:
    # these machines' parts are not in the component list: each text is read as said of one
    read = read_texts([f"carburetor: {t}" for t in texts])
    return {t: read[f"carburetor: {t}"] for t in texts}


def _finds(reading: Reading) -> bool:
    return any(m.finding in ("failed", "over limit", "worn") for m in reading.mentions)


class PartScore:
    """The labels of the column Part, learned from a few and scored on the rest."""

    def __init__(self, data: Path) -> None:
        orders = excavator(data)
        self.texts = orders["OriginalShorttext"].map(normalised).tolist()
        self.true = [tuple(sorted(set(p.split("_")) - {""})) for p in orders["Part"]]
        self.first: Parts = {}
        for text, parts in zip(self.texts, self.true, strict=True):
            self.first.setdefault(text, parts)
        self.unlike = sorted(self.first)
        counts = Counter(self.texts)
        self.n_lines = [counts[t] for t in self.unlike]
        self.model = TextModel(self.unlike)
        n_rows = Counter(p for parts in self.true for p in parts)
        self._learned: list[str] = ["nothing yet"]
        self.big = sorted(p for p, n in n_rows.items() if n >= _BIG)

    def _learn(self, labelled: list[str]) -> None:
        if labelled != self._learned:
            self.model.learn({t: self.first[t] for t in labelled})
            self._learned = list(labelled)

    def score(self, labelled: list[str]) -> tuple[float, float]:
        """Macro-F1 over the values with 50 rows or more and micro-F1 over all, on the rest."""
        known = set(labelled)
        self._learn(labelled)
        proposed = dict(zip(self.unlike, self.model.propose(self.unlike), strict=True))
        hits: Counter[str] = Counter()
        said: Counter[str] = Counter()
        true: Counter[str] = Counter()
        for text, parts in zip(self.texts, self.true, strict=True):
            if text not in known:
                values = proposed[text].values
                said.update(values)
                true.update(parts)
                hits.update(set(values) & set(parts))
        each = [2 * hits[p] / max(1, said[p] + true[p]) for p in self.big]
        return float(np.mean(each)), 2 * hits.total() / max(1, said.total() + true.total())

    def ordered(self, labelled: list[str], n: int) -> list[str]:
        """The next texts of to_review, after a run that learned from the labelled ones."""
        self._learn(labelled)
        known = set(labelled)
        open_ = [t for t in self.unlike if t not in known]
        lines = dict(zip(self.unlike, self.n_lines, strict=True))
        order = label_order(
            open_, [lines[t] for t in open_], labelled=labelled, doubt=self.model.doubt(open_)
        )  # fmt: skip
        return [open_[i] for i in order[:n]]

    def curve(self, n_labels: int = 300) -> list[tuple[int, float, float]]:
        """Scores after each batch of labels."""
        labelled: list[str] = []
        out = [(0, *self.score(labelled))]
        while len(labelled) < n_labels:
            labelled += self.ordered(labelled, _BATCH)
            out.append((len(labelled), *self.score(labelled)))
        return out


def main(what: str, data: Path) -> None:
    """Print the figures asked for."""
    if what == "failure":
        print("failure or not, 300 texts:", _shown(failure_or_not(data)))
    elif what == "gold":
        for name, scores in gold(data).items():
            print(f"gold, second half, {name}:", _shown(scores))
        for name, scores in gold(data, only_second_half=False).items():
            print(f"gold, all, {name}:", _shown(scores))
    else:
        for n, macro, micro in PartScore(data).curve():
            print(f"{n} labels: macro-F1 {macro:.3f}, micro-F1 {micro:.3f}", flush=True)


def _shown(scores: dict[str, float]) -> str:
    return ", ".join(f"{k} {v:.3f}" for k, v in scores.items())


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
