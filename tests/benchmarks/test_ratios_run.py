"""The benchmarks run and compare like with like; how fast they are is for a person to read."""

import re

import coding_speed
import lives_speed
import models_speed
import numpy as np
import pandas as pd
import pytest
import ratios


def test_every_ratio_is_printed_beside_its_target(capsys: pytest.CaptureFixture[str]):
    assert ratios.main(["--rows", "300", "--repeats", "1"]) == 0
    printed = capsys.readouterr().out.splitlines()
    there = models_speed.has_r()
    assert [re.sub(r"^(\S+) +[\d.e+-]+  \((.*?)\).*", r"\1 \2", line) for line in printed] == [
        "P16 target <= 0.35", "P17 target <= 2.5", "P17-whole no target",
        "P14 target <= 1.6", "P14-words target <= 2.2", "P15 target <= 0.002",
        "P1 target <= 40", "P1-growth target <= 1.16", "P1-growth target <= 1.16",
        "P2 target <= 0.000125", *["P3 target <= 0.00666667"] * there,
        "P4 target <= 2.5", "P4 target <= 2.5", "P5 target <= 3.5", "P6 target <= 6",
        "P7 target <= 3", *["P8 target <= 0.004"] * there,
        "P9 target <= 6.5", "P10 target <= 0.0002",
        "P11 target <= 80", "P11 target <= 80", "P11-draws target <= 3.2",
        "P11-positions target <= 4",
        "P12 target <= 0.3", "P12-loop target <= 0.001", "P13 target <= 0.1",
        "year-plans no target", *["what-if target <= 1"] * 9,
        "P18 target <= 1.15", "P18-whole no target", "P19 target <= 0.65",
        "P19-next target <= 0.12",
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


def test_the_walkers_come_to_the_posterior_of_the_nodes():
    fits = models_speed.small_cells(30)
    cell = int(fits.n_failed.argmax())
    drawn = models_speed.ensemble(fits, cell, steps=4000)[500:].reshape(-1, 2)
    ours = models_speed.summaries(fits)
    for i, what in enumerate(("shape", "scale")):
        assert abs(drawn[:, i].mean() - ours.mean(what)[cell]) < 0.15 * ours.sd(what)[cell]
        assert abs(drawn[:, i].std() / ours.sd(what)[cell] - 1.0) < 0.15


def test_the_keyed_frame_tells_the_same_cells():
    frame = models_speed.keyed(60, as_words=True)
    keys = ["component", "model", "duty"]
    ours = models_speed.fit_cells(frame[keys], frame["exit"], frame["event"]).table
    counts = frame.groupby(keys)["event"].agg(["size", "sum"])
    assert ours.index.equals(counts.index)
    assert ours["n_lives"].tolist() == counts["size"].tolist()
    assert ours["n_failed"].tolist() == counts["sum"].tolist()
    by_kind = models_speed.keyed(60, as_words=False)
    again = models_speed.fit_cells(by_kind[keys], by_kind["exit"], by_kind["event"]).table
    np.testing.assert_array_equal(again["shape"], ours["shape"])
