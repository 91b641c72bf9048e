"""The proof as its reader meets it: one page, its tables, the same for the same seed."""

import json
import re

import pandas as pd
import pytest

from dutylife.errors import DutylifeError, RunError
from dutylife.prove import prove


def text_of(path):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", path.read_text(encoding="utf-8")))


@pytest.mark.slow
def test_the_page_says_first_that_the_fleets_are_made_up_and_what_is_not_met(proof):
    text = text_of(proof.folder / "prove.html")
    assert "not that it is right for your shop" in text
    first = text.index("What is not met")
    assert text.index("Made-up fleets") < first < text.index("Aims by size")
    missed = proof.not_met
    assert len(missed) > 0, "two fleets a cell can't meet every aim"
    for aim in missed["aim"]:
        assert aim in text[first : text.index("Aims by size")]


@pytest.mark.slow
def test_verdicts_are_words_and_every_aim_has_one(proof):
    rows = proof.tables["prove_verdicts"]
    assert set(rows["answer"]) <= {"met", "not met", "too few fleets"}
    judged = rows[rows["figure"].notna() & rows["aim_least"].notna() & rows["aim_most"].notna()]
    inside = judged["figure"].between(judged["aim_least"], judged["aim_most"])
    assert ((judged["answer"] == "met") == inside).all()
    assert len(rows) % rows["case"].nunique() == 0


@pytest.mark.slow
def test_tables_lie_beside_the_page(proof):
    for name, table in proof.tables.items():
        written = pd.read_csv(proof.folder / "tables" / f"{name}.csv")
        assert len(written) == len(table), name
    assert (proof.folder / "prove.html").stat().st_size < 300_000


@pytest.mark.slow
def test_each_figure_stands_beside_its_companions(proof):
    figures = proof.tables["prove_figures"]
    methods = figures.groupby("measure", observed=True)["method"].agg(set)
    assert {"dutylife", "oracle", "careful analyst", "naive averages", "fixed schedule"} <= set(
        methods["money lost"]
    )
    assert {"dutylife", "oracle", "last year's average"} <= set(methods["pinball loss"])
    assert {"dutylife", "last year's average"} <= set(methods["fill rate"])


@pytest.mark.slow
def test_perfect_knowledge_loses_nothing_and_nobody_gains_on_it(proof):
    figures = proof.tables["prove_figures"]
    lost = figures[figures["measure"] == "money lost"]
    assert (lost.loc[lost["method"] == "oracle", "figure"] < 1e-6).all()
    assert (lost["figure"] >= 0).all()


@pytest.mark.slow
def test_one_process_writes_the_same_page(proof, tiny, tmp_path):
    again = prove(tmp_path / "again", seed=3, workers=1)
    assert (again.folder / "prove.html").read_bytes() == (proof.folder / "prove.html").read_bytes()
    for name in proof.tables:
        one, two = (p.folder / "tables" / f"{name}.csv" for p in (again, proof))
        assert one.read_bytes() == two.read_bytes(), name


@pytest.mark.slow
def test_finished_fleets_are_taken_up_again_and_no_others(proof, tiny):
    page = (proof.folder / "prove.html").read_bytes()
    parts = sorted((proof.folder / "parts").glob("*.json"))
    half, stale = parts[0], parts[1]
    half.write_text(half.read_text()[:100])  # the machine stopped while it was written
    data = json.loads(stale.read_text())
    stale.write_text(json.dumps(data | {"digest": "of another program"}))
    told = []
    again = prove(proof.folder, seed=3, workers=1, progress=told.append)
    assert told[0] == f"{len(parts) - 2} of {len(parts)} fleets kept from before"
    assert sum(t.startswith("fleet ") for t in told) == 2
    assert (again.folder / "prove.html").read_bytes() == page


def test_a_folder_that_is_no_proof_is_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(RunError, match="not a proof"):
        prove(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


@pytest.mark.parametrize(
    ("option", "match"),
    [({"size": "huge"}, "no proof of size"), ({"n_fleets": 0}, "0 fleets"),
     ({"workers": 0}, "0 workers"), ({"plant": "moth"}, "no planted fault")],
)  # fmt: skip
def test_an_option_out_of_range_is_named(tmp_path, option, match):
    with pytest.raises(DutylifeError, match=match):
        prove(tmp_path / "out", **option)
    assert not (tmp_path / "out").exists()


def test_the_command_takes_its_options():
    from click.testing import CliRunner

    from dutylife.cli import main

    shown = CliRunner().invoke(main, ["prove", "--help"]).output
    for option in ("--fleets", "--out", "--size", "--workers", "--seed"):
        assert option in shown
