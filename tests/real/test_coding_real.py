"""Coding on text nobody here wrote; the figures reached, with some room, and the aims beside them.

Held out before the words of state, negation and other languages were written: the excavator texts
whose digest falls in two of five classes (the 300 labelled ones are of these), and the second half
of the short texts. `coding_scores.py` prints the figures.
"""

from pathlib import Path

import coding_scores
import pytest


@pytest.mark.shared
def test_failure_or_not_on_300_texts_labelled_by_reading(shared: Path):
    scores = coding_scores.failure_or_not(shared / "data")
    assert scores["precision"] >= 0.97
    assert scores["f1"] >= 0.84


@pytest.mark.shared
def test_short_texts_labelled_by_two_experts(shared: Path):
    scores = coding_scores.gold(shared / "data")
    # plain keywords reach precision 0.997 and recall 0.841, F1 0.912 (README of the data set)
    assert scores["replaced"]["f1"] >= 0.93
    assert scores["faulty"]["f1"] >= 0.87


@pytest.mark.slow
@pytest.mark.shared
def test_parts_of_excavators_after_300_labels(shared: Path):
    curve = coding_scores.PartScore(shared / "data").curve()
    assert curve[0][1:] == (0.0, 0.0)  # no label, no value known
    n_labels, macro, micro = curve[-1]
    assert n_labels == 300
    assert micro >= 0.80
    # the aim was 0.85; 300 random lines with a plain linear model give 0.75 and 0.64
    assert macro >= 0.80
    assert macro > curve[3][1]
