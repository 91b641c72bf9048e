"""The benchmarks run and compare like with like; how fast they are is for a person to read."""

from pathlib import Path

import batch_speed
import coding_speed
import exactness
import lives_speed
import measuring
import models_speed
import numpy as np
import pandas as pd
import pytest
import ratios

# as the project set them itself, before the first line was written
TARGETS = {
    "P1": "<= 40", "P2": ">= 8,000", "P3": ">= 150", "P4": "<= 2.5", "P5": "<= 3.5", "P6": "<= 6",
    "P6-loop": ">= 150", "P7": "<= 3", "P8": ">= 250", "P9": "<= 6.5", "P9-means": "<= 0.0001",
    "P10": ">= 5,000", "P11": "<= 80", "P11-kept": "<= 45", "P11-law": "<= 0.001", "P12": "<= 0.3",
    "P12-loop": ">= 1,000", "P12-error": "<= 5e-06", "P13": "<= 0.1", "P13-regret": "<= 0.0001",
    "P14": "<= 1.6", "P14-words": "<= 2.2", "P15": ">= 500", "P16": "<= 0.35", "P17": "<= 2.5",
    "P17-whole": "no target", "P17-memory": "<= 3", "P18": "<= 1.15", "P18-whole": "no target",
    "P19": "<= 0.65", "P19-next": "<= 0.12", "year-plans": "no target", "what-if": "<= 1",
    "P1-growth": "<= 5.8", "P7-growth": "<= 5.8", "P9-growth": "<= 5.8", "P11-draws": "<= 3.2",
    "P11-positions": "<= 4", "P14-growth": "<= 5.8", "P17-growth": "no target",
}  # fmt: skip


def test_there_is_every_target_and_growth_comes_last():
    every = ratios.all_benchmarks()
    assert {n: str(b.aim or "no target") for n, b in every.items()} == TARGETS
    assert list(every) == list(TARGETS)


def table_of(folder: Path, *names: str) -> pd.DataFrame:
    arguments = [*names, "--rows", "300", "--repeats", "1", "--write", str(folder)]
    assert ratios.main(arguments) == 0
    table = pd.read_csv(folder / "ratios.csv")
    assert list(dict.fromkeys(table["id"])) == list(names or TARGETS)
    assert (table["target"] == table["id"].map(TARGETS)).all()
    measured = table["ratio"].notna()
    assert set(table.loc[~measured, "verdict"]) <= {"R not here"}
    with_target = measured & (table["target"] != "no target")
    assert set(table.loc[with_target, "verdict"]) <= {"met", "not met"}
    assert table.loc[measured & ~with_target, "verdict"].isna().all()
    page = (folder / "README.md").read_text(encoding="utf-8")
    assert all(f"| {name} |" in page for name in table["id"])
    return table


def test_a_table_and_the_curves_of_growth_are_printed_and_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
):
    table = table_of(tmp_path, "P4", "P14", "P11-law", "P1-growth", "P14-growth")
    assert table["id"].tolist() == [
        "P4", "P4", "P14", "P11-law", "P1-growth", "P1-growth", "P14-growth", "P14-growth",
    ]  # fmt: skip
    printed = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in printed[1:-2]] == table["id"].tolist()
    assert "![Time for each row" in (tmp_path / "README.md").read_text(encoding="utf-8")
    assert (tmp_path / "growth.png").stat().st_size > 10_000
    curves = pd.read_csv(tmp_path / "growth.csv")
    assert curves.groupby("id").size().tolist() == [3, 3]
    assert (curves["seconds"] > 0).all()


@pytest.mark.slow
def test_one_run_gives_all_of_them(tmp_path: Path):
    table = table_of(tmp_path)
    assert table["ratio"].isna().sum() == (0 if models_speed.has_r() else 2)


@pytest.mark.skipif(models_speed.has_r(), reason="R is here")
def test_without_r_its_rows_say_so():
    row = next(ratios.all_benchmarks()["P3"].rows(300, 1))
    assert row.verdict == "R not here"
    assert "R not here" in row.line


def test_a_target_is_met_on_its_side_only():
    assert [measuring.Aim(2.0).met_by(r) for r in (1.9, 2.1)] == ["met", "not met"]
    assert [measuring.Aim(2.0, True).met_by(r) for r in (1.9, 2.1)] == ["not met", "met"]


def test_what_is_exact_is_as_exact_as_asked():
    for figure in exactness.BENCHMARKS:
        row = figure.row(0)
        assert row.verdict == "met", row.line


def test_the_loop_finds_the_limits_of_the_batch():
    lives = models_speed.lives(40)
    fits = models_speed.fit_cells(**lives)
    cells = models_speed.some_cells(lives, 3)
    loop = np.reshape(batch_speed.limits_by_loop(fits, cells), (3, 2, 2))
    for place, what in enumerate(("shape", "b10")):
        ours = fits.limits(what, 0.90).iloc[cells][["lower", "upper"]].to_numpy()
        np.testing.assert_allclose(loop[:, place], ours, rtol=1e-5)


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
    fits = batch_speed.small_cells(30)
    cell = int(fits.n_failed.argmax())
    drawn = batch_speed.ensemble(fits, cell, steps=4000)[500:].reshape(-1, 2)
    ours = batch_speed.summaries(fits)
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
