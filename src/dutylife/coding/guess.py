"""A small text model: learns codes from labelled texts and proposes them for others, with how sure.

Two linear models are averaged: one picks few words and word parts (a penalty on the sum of sizes),
one weighs all of them; that suits a few hundred labels of short texts typed in a hurry. A text that
has a word of the value's own name says so to both, before any text with that word was labelled.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dutylife.coding.keys import normalised

Floats = NDArray[np.float64]
WORD = r"[a-z0-9\u00e0-\u00ff/&]+"
_FIGURES = re.compile(r"\d+")
_FEW = 8  # labelled texts from which on a model is fitted at all
_FOLDS = 3
# a text that has a word of the value's own name: how much more than another word that is worth
_NAME_WEIGHT = 2.0
_STEM = 5  # letters alike at the beginning make one word: "filter", "filters"
_SHORTEST = 3
_LETTERS = re.compile(r"[^\W\d_]+")
_CUT = 0.25  # a value of several is proposed from this share on: few labels make a model timid


def masked(text: str) -> str:
    """Text as the model sees it: normalised, every figure 0."""
    return _FIGURES.sub("0", normalised(text))


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the model proposes for one text and how sure it is of it, 0 to 1 (calibrated)."""

    values: tuple[str, ...]
    confidence: float


class TextModel:
    """Proposes values (one or several a text) learned from labelled texts.

    Parameters
    ----------
    texts : sequence of str
        Every text that will be asked about or learned from; word parts are taken from all of
        them, so that a label says something about texts without one.
    """

    def __init__(self, texts: Sequence[str]) -> None:
        from scipy import sparse
        from sklearn.feature_extraction.text import CountVectorizer, TfidfVectorizer

        self._several = True
        self._row = {t: i for i, t in enumerate(dict.fromkeys(masked(t) for t in texts))}
        seen = list(self._row) or [""]
        words = CountVectorizer(token_pattern=WORD, binary=True)
        least = 3 if len(seen) >= 200 else 1
        parts = CountVectorizer(analyzer="char_wb", ngram_range=(3, 5), binary=True, min_df=least)
        weighed = TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5), sublinear_tf=True)
        try:
            blocks = [v.fit_transform(seen) for v in (words, parts)]
            self._x: Any = [
                sparse.hstack(blocks).tocsr().astype(float),
                weighed.fit_transform(seen),
            ]
        except ValueError:  # no word in any text
            self._x = []
        self._seen = seen
        self.values: tuple[str, ...] = ()
        self._p: Floats = np.zeros((len(seen), 0))
        self._scale = (1.0, 0.0)

    def learn(self, labelled: dict[str, tuple[str, ...]], *, several: bool = True) -> "TextModel":
        """Fit to labelled texts; the order in which they come changes nothing.

        Parameters
        ----------
        labelled : dict
            Values of each text, none or several.
        several : bool
            Whether a text may have several values, or none; else it has one.
        """
        self._several = several
        known: dict[int, set[str]] = {}
        for text, values in labelled.items():
            if (place := self._row.get(masked(text))) is not None:
                known.setdefault(place, set()).update(values)
        rows = np.array(sorted(known), dtype=int)
        self.values = tuple(sorted(set().union(*known.values()))) if known else ()
        self._p = np.zeros((len(self._row) or 1, len(self.values)))
        if len(rows) < _FEW or not self._x or not self.values:
            return self
        y = np.array([[v in known[r] for v in self.values] for r in rows])
        held_out = np.zeros(y.shape)
        fold = np.arange(len(rows)) % _FOLDS
        for k in range(_FOLDS):
            inside, outside = fold != k, fold == k
            held_out[outside] = self._fit(rows[inside], y[inside], rows[outside])
        self._p = self._fit(rows, y, np.arange(len(self._p)))
        self._scale = _calibrated(held_out, y, self._chosen(held_out))
        return self

    def propose(self, texts: Sequence[str]) -> list[Proposal]:
        """Values of each text, best first; none where the model knows nothing of it."""
        if not self.values:
            return [Proposal((), 0.0)] * len(texts)
        p = self._p[[self._row[masked(t)] for t in texts]]
        chosen = self._chosen(p)
        order = np.argsort(-p, axis=1, kind="stable")
        sure = _sigmoid(self._scale[0] * _logit(_least_sure(p, chosen)) + self._scale[1])
        out = []
        for row in range(len(texts)):
            values = tuple(self.values[j] for j in order[row] if chosen[row, j])
            out.append(Proposal(values, round(float(sure[row]), 4) if values else 0.0))
        return out

    def doubt(self, texts: Sequence[str]) -> Floats:
        """How unsure the model is of each text: the entropies of its values summed, in nat."""
        if not self.values:
            return np.ones(len(texts))
        p = np.clip(self._p[[self._row[masked(t)] for t in texts]], 1e-9, 1 - 1e-9)
        return np.asarray(-(p * np.log(p) + (1 - p) * np.log(1 - p)).sum(axis=1))

    def _chosen(self, p: Floats) -> NDArray[np.bool_]:
        if self._several:
            return np.asarray(p > _CUT)
        best = np.zeros(p.shape, dtype=bool)
        best[np.arange(len(p)), p.argmax(axis=1)] = True
        return best & (p > 0)

    def _fit(self, rows: NDArray[np.int_], y: NDArray[np.bool_], asked: NDArray[np.int_]) -> Floats:
        from scipy import sparse
        from sklearn.linear_model import LogisticRegression

        out = np.zeros((len(asked), y.shape[1]))
        for j in range(y.shape[1]):
            if y[:, j].all() or not y[:, j].any():
                out[:, j] = float(y[:, j].all())
                continue
            few = LogisticRegression(
                C=3.0, l1_ratio=1.0, solver="liblinear", random_state=0, tol=1e-3
            )
            all_ = LogisticRegression(C=10.0, class_weight="balanced", solver="liblinear")
            named = sparse.csr_matrix(_naming(self._seen, self.values[j])[:, None])
            for model, block, weight in (
                (few, self._x[0], _NAME_WEIGHT), (all_, self._x[1], _NAME_WEIGHT / 2),
            ):  # fmt: skip
                x = sparse.hstack([block, weight * named]).tocsr()
                out[:, j] += model.fit(x[rows], y[:, j]).predict_proba(x[asked])[:, 1] / 2
        return np.asarray(out)


def _naming(texts: Sequence[str], value: str) -> Floats:
    """1 where a text has a word that begins like one of the value's own name, else 0."""
    stems = {w[:_STEM] for w in _LETTERS.findall(masked(value)) if len(w) >= _SHORTEST}
    if not stems:
        return np.zeros(len(texts))
    begins = re.compile(r"(?<![^\W\d_])(?:" + "|".join(map(re.escape, sorted(stems))) + ")")
    return np.array([begins.search(t) is not None for t in texts], dtype=float)


def _least_sure(p: Floats, chosen: NDArray[np.bool_]) -> Floats:
    """Probability of the least sure value chosen; of none chosen, that none holds."""
    least = np.where(chosen, p, 1.0).min(axis=1)
    return np.asarray(np.where(chosen.any(axis=1), least, 1 - p.max(axis=1)))


def _calibrated(p: Floats, y: NDArray[np.bool_], chosen: NDArray[np.bool_]) -> tuple[float, float]:
    """Slope and shift that turn the model's own sureness into the share of right answers."""
    from sklearn.linear_model import LogisticRegression

    some = chosen.any(axis=1)
    right = (chosen == y).all(axis=1)[some]
    if len(right) < _FEW or right.all() or not right.any():
        return 1.0, 0.0
    x = _logit(_least_sure(p, chosen)[some]).reshape(-1, 1)
    fitted = LogisticRegression(C=1.0).fit(x, right)
    return float(max(fitted.coef_[0, 0], 0.0)), float(fitted.intercept_[0])


def _logit(p: Floats) -> Floats:
    q = np.clip(p, 1e-6, 1 - 1e-6)
    return np.asarray(np.log(q / (1 - q)))


def _sigmoid(x: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-x)))
