"""The text model: learns from corrections, says how sure it is, never overrides the lexicon."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.coding.guess import TextModel
from dutylife.coding.order import label_order
from dutylife.schema import as_table
from dutylife.settings import settings_from

_THINGS = {"tilt ram": "spark plug", "slew box": "air filter", "boom pin": "carburetor"}
_SAID = ["{} scuffed", "mend {}", "{} sorted", "see to {}", "{} again", "{} as before", "{} lh",
         "{} rh", "look {}", "{} by night shift"]  # fmt: skip


def _lines(texts: list[str]) -> pd.DataFrame:
    rows = [
        {"line_id": f"L{n}", "source_file": "lines.csv", "source_row": n + 2, "ticket": f"J{n}",
         "unit_id": "U1", "service_date": "2024-03-01", "line_kind": "labour", "quantity": 1.0,
         "work_done": text}
        for n, text in enumerate(texts)
    ]  # fmt: skip
    return as_table("service_lines", pd.DataFrame(rows))


@pytest.fixture
def code_texts(tmp_path: Path) -> Callable[..., dict[str, pd.DataFrame]]:
    """Code texts; those given with a component are corrected."""

    def run(texts: list[str], labels: dict[str, str], **coding: Any) -> dict[str, pd.DataFrame]:
        rows = "".join(f'"{t}",,{c},repair,failure,failed\n' for t, c in labels.items())
        header = "text,part_description,component,activity,reason,finding\n"
        (tmp_path / "said.csv").write_text(header + rows)
        given = {"coding": coding | {"corrections": "said.csv"}, "fleet": {"as_of": "2024-12-31"}}
        units = as_table("units", pd.DataFrame([{"unit_id": "U1"}]))
        shelf = as_table("shelf", pd.DataFrame())
        return code_lines(
            _lines(texts), units, shelf, settings_from(given, folder=tmp_path), review=True
        )

    return run


def _labelled(n: int) -> dict[str, str]:
    every = {s.format(thing): c for s in _SAID for thing, c in _THINGS.items()}
    return dict(list(every.items())[:n])


def test_like_texts_are_coded_with_a_confidence_under_one(code_texts: Any):
    labels = _labelled(27)
    coded = code_texts([*labels, "tilt ram by day shift"], labels, guess_from=0.5)
    event = coded["maintenance_events"].set_index("ticket").loc["J27"]
    assert event["component"] == "spark plug"
    assert (event["activity"], event["reason"]) == ("repair", "failure")
    assert 0.5 <= event["confidence"] < 1
    assert "proposed" in set(coded["findings"]["key"])


@pytest.mark.parametrize(("n_labels", "guess_from"), [(27, 1.0), (9, 0.5)])
def test_switched_off_or_with_few_labels_nothing_is_proposed(
    code_texts: Any, n_labels: int, guess_from: float
):
    labels = _labelled(n_labels)
    coded = code_texts([*labels, "tilt ram by day shift"], labels, guess_from=guess_from)
    assert f"J{n_labels}" not in set(coded["maintenance_events"]["ticket"])


def test_what_the_lexicon_is_sure_of_stays(code_texts: Any):
    labels = _labelled(27)
    texts = [*labels, "tilt ram sorted, fuel filter renewed"]
    events = code_texts(texts, labels, guess_from=0.3)["maintenance_events"]
    mine = events[events["ticket"] == "J27"]
    assert mine["component"].tolist() == ["fuel filter"]
    assert mine["confidence"].tolist() == [1.0]


def test_row_order_changes_nothing(code_texts: Any):
    labels = _labelled(27)
    texts = [*labels, "tilt ram by day shift", "boom pin once more"]
    one = code_texts(texts, labels, guess_from=0.3)["to_review"]
    flipped = dict(reversed(list(labels.items())))
    two = code_texts(list(reversed(texts)), flipped, guess_from=0.3)["to_review"]
    pd.testing.assert_frame_equal(
        one.drop(columns="example_ticket"), two.drop(columns="example_ticket")
    )
    assert len(one) == 2


def test_confidence_is_the_share_right():
    texts = [f"{w} {n} {k}" for k in range(15) for n in "abcd" for w in ("ram", "pin", "box", "x")]
    known = {t: (t.split()[0],) for t in texts if not t.startswith("x")}
    model = TextModel(texts).learn(dict(list(known.items())[:90]))
    rest = [t for t in known if t not in list(known)[:90]]
    proposals = model.propose(rest)
    right = sum(p.values == known[t] for p, t in zip(proposals, rest, strict=True)) / len(rest)
    assert right == 1.0
    assert min(p.confidence for p in proposals) > 0.8


def test_the_order_is_by_lines_and_then_by_what_is_new():
    texts = ["ram leak", "ram leaks", "box noise", "box noisy"]
    order = [texts[i] for i in label_order(texts, [10, 2, 5, 4])]
    assert order[0] == "ram leak"
    assert order[1].startswith("box")
    assert sorted(order) == sorted(texts)
