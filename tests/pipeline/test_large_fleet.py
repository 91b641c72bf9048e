"""A large export goes through the whole run, every row accounted for, and says what it left out."""

import json
import sys
from pathlib import Path

import pandas as pd
import pytest

from dutylife import pipeline

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from big_export import make_big_export


@pytest.mark.slow
def test_a_hundred_thousand_lines_go_through_and_every_row_is_accounted_for(
    tmp_path: Path,
) -> None:
    lines = make_big_export(tmp_path, 100_000, seed=3)
    machines = len(pd.read_csv(tmp_path / "machines.csv"))
    result = pipeline.run(tmp_path / "dutylife.toml", out=tmp_path / "out")
    info = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert info["rows_in"] == info["rows_used"] + info["rows_set_aside"]
    assert info["rows_in"] >= lines + machines
    assert len(result.tables["service_lines"]) >= 0.99 * lines
    assert result.tables["units"]["unit_id"].nunique() == machines
    told = " ".join(result.tables["findings"]["message"])
    for said in ("levelled", "maintenance-calendar.ics holds", "wall-cards.html holds", "drawn of"):
        assert said in told


def test_the_same_seed_makes_the_same_export(tmp_path: Path) -> None:
    counts = [make_big_export(tmp_path / name, 3000, seed=5) for name in ("one", "two")]
    assert counts[0] == counts[1] > 2000
    for name in ("lines.csv", "machines.csv", "parts.csv", "dutylife.toml"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
