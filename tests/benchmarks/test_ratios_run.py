"""The benchmarks run and compare like with like; how fast they are is for a person to read."""

import re

import coding_speed
import lives_speed
import numpy as np
import pandas as pd
import pytest
import ratios


def test_every_ratio_is_printed_beside_its_target(capsys: pytest.CaptureFixture[str]):
    assert ratios.main(["--rows", "300", "--repeats", "1"]) == 0
    printed = capsys.readouterr().out.splitlines()
    assert [re.sub(r"^(\S+) +[\d.e-]+  \((.*?)\).*", r"\1 \2", line) for line in printed] == [
        "P16 target <= 0.35", "P17 target <= 2.5", "P17-whole no target",
        "P14 target <= 1.6", "P14-words target <= 2.2", "P15 target <= 0.002",
    ]  # fmt: skip


def test_the_plain_way_of_coding_finds_the_phrases():
    from dutylife.coding.lexicon import build_lexicon
    from dutylife.settings import settings_from

    pattern = coding_speed.alternation(build_lexicon(settings_from({})))
    assert pattern.findall("spark plug cap cracked, renewed") == [
        "spark plug cap", "cracked", "renewed",
    ]  # fmt: skip


def test_the_plain_loop_and_the_vectors_tell_the_same_lives():
    """Where no reading is a slip and all lines give the meter."""
    lines = lives_speed.made_lines(3000, as_words=True, share_slips=0.0)
    lines = lines.drop_duplicates(["unit_id", "service_date"])
    lines = lines[lines["meter_hours"].notna()].reset_index(drop=True)
    ours = lives_speed.lives_of(lines).set_index("row")[["exit_days", "exit_hours"]].sort_index()
    by_loop = pd.DataFrame(lives_speed.lives_by_loop(lines)).set_index(0).sort_index()
    assert ours.index.tolist() == by_loop.index.tolist()
    np.testing.assert_allclose(ours.to_numpy(), by_loop.to_numpy())
    assert ours["exit_hours"].notna().any()
