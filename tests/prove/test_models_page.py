"""The proof of the life models as it is typed, and its page as its reader meets it."""

import re
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dutylife.cli import main
from dutylife.errors import DutylifeError
from dutylife.prove import ModelsProof, prove_models
from dutylife.prove.models_alone import cases as models_cases
from dutylife.prove.models_alone import truth as models_truth
from dutylife.prove.models_alone.made import BLIND_WATCH, Laws, lives_blindly_cut, lives_half_cut
from dutylife.prove.models_alone.scores import Judged, answer_of, error_row

TABLES = ("own", "pooled", "lending", "factors")
FEW = 16
FIGURES = {"b10": "10\u00a0% failed", "b50": "half failed", "shape": "shape", "scale": "scale",
           "factor": "over another"}  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The smallest proof there is, by the command, at a few of the sizes."""
    patch = pytest.MonkeyPatch()
    patch.setattr(models_cases, "SIZES", (3, 10))
    patch.setattr(models_cases, "OFF_SIZES", (3,))
    patch.setattr(models_cases, "LENDING_SIZES", (3,))
    patch.setattr(models_truth, "CELLS_A_FLEET", FEW)
    out = tmp_path_factory.mktemp("proof")
    result = CliRunner().invoke(main, ["prove", "--models", "--cells", str(FEW), "--out", str(out)])
    patch.undo()
    assert result.exit_code == 0, result.output
    return out / "models", result.output


def csv(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"prove_models_{name}.csv")


def html(folder: Path) -> str:
    return (folder / "models.html").read_text(encoding="utf-8")


def words(text: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text))).strip()


def tables(text: str) -> dict[str, list[dict[str, str]]]:
    """Rows of cells by heading, by caption."""
    out = {}
    for piece in re.findall(r"<table.*?</table>", text, re.DOTALL):
        tree = ElementTree.fromstring(piece)
        head, *rows = [
            [" ".join(t.strip() for t in cell.itertext() if t.strip()) for cell in row]
            for row in tree.iter("tr")
        ]
        caption = "".join(tree.find("caption").itertext())
        out[caption] = [dict(zip(head, row, strict=True)) for row in rows]
    return out


def test_the_command_says_where_its_page_is_and_which_aims_are_met(made) -> None:
    folder, said = made
    assert str(folder) in said
    assert (folder / "models.html").is_file()
    for name in TABLES:
        assert f"prove_models_{name}: " in said


def test_every_share_of_the_tables_stands_on_the_page(made) -> None:
    folder, _ = made
    shown = tables(html(folder))
    rows = [row for found in shown.values() for row in found]
    assert len(rows) == sum(len(csv(folder, name)) for name in TABLES)
    for name, start in (
        ("own", "Likelihood-ratio ranges"), ("pooled", "Pooled ranges"),
        ("lending", "Errors of pooled"), ("factors", "Lives in one duty over"),
    ):  # fmt: skip
        found = [row for caption, some in shown.items() if caption.startswith(start)
                 for row in some]  # fmt: skip
        told = sorted(row_key(row) for row in found)
        table = csv(folder, name)
        assert told == sorted(
            (FIGURES[r.what], str(r.expected_failures), f"{r.n_cells:,}".replace(",", " "),
             f"{100 * r.coverage:.1f}\u00a0%")
            for r in table.itertuples()
        )  # fmt: skip
    lending = [row for row in rows if "pooled over by themselves" in row]
    ratios = csv(folder, "lending").set_index("what")["error_ratio"]
    assert len(lending) == len(ratios) == 4
    for row in lending:
        what = next(w for w, words in FIGURES.items() if words == row["figure"])
        assert row["pooled over by themselves"].startswith(f"{ratios[what]:.3f} +- ")


def row_key(row: dict[str, str]) -> tuple[str, ...]:
    held = row["range holds it"].split(" +- ")[0]
    return row.get("figure", FIGURES["factor"]), row["expected failures"], row["cells"], held


def test_the_page_says_first_what_is_met_and_names_what_is_not(made) -> None:
    folder, _ = made
    text = html(folder)
    first = words(text[text.index("<body") : text.index("<table")])
    answers = pd.concat([csv(folder, name)["answer"] for name in TABLES])
    aimed = answers[answers != "no aim"]
    assert f"{(aimed == 'met').sum()} of {len(aimed)} aims are met." in first
    assert "not that it is right for your shop" in first
    # two components can't tell: the page says so rather than praise or blame
    assert first.count("Too few cells: pooled") == 2 * 4 + 1


def test_the_page_needs_no_network_and_a_screen_reader_finds_its_way(made) -> None:
    text = html(made[0])
    assert not re.search(r"<script|https?:|<link|<img|url\(|@import", text)
    assert "@media print" in text
    assert '<html lang="en">' in text
    for piece in re.findall(r"<table.*?</table>", text, re.DOTALL):
        assert "<caption" in piece
        assert not re.search(r"<th(?![^>]*scope=)(?=[ >])", piece)


def test_the_same_tables_write_the_same_page(made, tmp_path: Path) -> None:
    folder, _ = made
    info = {"seed": 1, "n_cells": FEW, "source_digest": "0a1b"}
    read = {f"prove_models_{name}": csv(folder, name) for name in TABLES}
    for out in ("one", "two"):
        ModelsProof(read, info).written(tmp_path / out)
    assert html(tmp_path / "one") == html(tmp_path / "two")
    assert "seed 1" in html(tmp_path / "one")


@pytest.mark.parametrize("options", [{"n_cells": 15}, {"n_cells": -1}, {"workers": 0}])
def test_what_proves_nothing_is_refused(options: dict[str, int]) -> None:
    with pytest.raises(DutylifeError, match="prove nothing|can't run anything"):
        prove_models(**options)


def test_half_of_the_made_lives_fail_whichever_watch() -> None:
    """Known laws: half on average; a watch blind to the law gives duties of all or nothing."""
    assert BLIND_WATCH < 0
    rng = np.random.default_rng(1)
    shares: dict[str, list[float]] = {"half": [], "blind": []}
    for _ in range(400):
        laws, _ = Laws(customer_variance=0.0).drawn(rng, 8)
        for name, make in (("half", lives_half_cut), ("blind", lives_blindly_cut)):
            shares[name] += [make(rng, law, 10).n_failed / 10 for law in laws]
    assert np.mean(shares["half"]) == pytest.approx(0.5, abs=0.02)
    assert np.mean(shares["blind"]) == pytest.approx(0.5, abs=0.04)
    assert np.std(shares["half"]) < 0.2 < 0.3 < np.std(shares["blind"])


def test_scores_are_those_reckoned_by_hand() -> None:
    """Three of four ranges hold the truth; two groups of two, shares 1 and 0.5."""
    judged = Judged()
    for group, truth in ((0, 1.0), (0, 2.0), (1, 2.0), (1, 5.0)):
        judged.add(group, (0.5, 1.0, 4.0), truth)
    row = judged.row((0.7, 0.8))
    assert (row["coverage"], row["truth_below"], row["truth_above"]) == (0.75, 0.0, 0.25)
    assert row["coverage_se"] == pytest.approx(0.25)  # two means 1 and 0.5: spread 0.354 / root 2
    assert row["middle_ratio"] == pytest.approx((1 * 0.5 * 0.5 * 0.2) ** 0.25)
    assert row["width_ratio"] == pytest.approx(8.0)
    assert row["answer"] == "too few cells"
    found = error_row([0.3, -0.4], [0.6, 0.8], [0, 1], None)
    assert found["error_ratio"] == pytest.approx(0.5)
    assert found["error_pooled"] == pytest.approx(np.sqrt(0.125))


@pytest.mark.parametrize(
    ("figure", "n_groups", "answer"),
    [(0.9, 100, "met"), (0.87, 100, "too few cells"), (0.85, 100, "not met"),
     (0.95, 100, "not met"), (0.9, 3, "too few cells"), (float("nan"), 0, "too few cells")],
)  # fmt: skip
def test_an_aim_is_missed_only_beyond_chance(figure: float, n_groups: int, answer: str) -> None:
    assert answer_of(figure, 0.01, n_groups, (0.88, 0.92)) == answer
