"""The page of the proof of lives as its reader meets it: words first, then the tables' figures."""

import re
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pytest

from dutylife.prove import LivesProof, prove_lives
from dutylife.reports import write_prove_lives_page

METHODS = {"the table of lives": "table", "true lives, known to the day": "true lives"}
CLOCKS = {"all components": "both", "those counted in hours": "hours", "those in days": "days"}
INFO = {"seed": 1, "n_units": 9, "n_years": 2.5, "source_digest": "0a1b"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("proof") / "lives"
    prove_lives(
        wanted=("none", "silent_leavers"), n_fleets=2, n_units=40, n_years=3.0, seed=5
    ).written(out)
    return out


def csv(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"prove_lives_{name}.csv")


def html(folder: Path) -> str:
    return (folder / "lives.html").read_text(encoding="utf-8")


def words(text: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text))).strip()


def tables(text: str) -> dict[str, list[list[str]]]:
    """Rows of cells, the first one the headings, by caption."""
    out = {}
    for piece in re.findall(r"<table.*?</table>", text, re.DOTALL):
        tree = ElementTree.fromstring(piece)
        rows = [
            [" ".join(t.strip() for t in cell.itertext() if t.strip()) for cell in row]
            for row in tree.iter("tr")
        ]
        out["".join(tree.find("caption").itertext())] = rows
    return out


def test_the_first_screen_says_how_far_scale_and_shape_are_from_the_true_lives(
    folder: Path,
) -> None:
    text = html(folder)
    first = words(text[text.index("<body") : text.index("<table")])
    assert first.index("not that it is right for your shop") < first.index("scale")
    laws = csv(folder, "laws")
    both = laws[laws["clock"] == "both"].set_index(["case", "method"])
    for case, said in (("none", "no difficulty"), ("silent_leavers", "silent leavers")):
        sentence = next(s for s in re.findall(r"[^.;]+ \(2 fleets\): .*?;", first) if said in s)
        for what in ("scale", "shape"):
            ratio = [both.loc[(case, m), f"{what}_ratio"] for m in ("table", "true lives")]
            off = 100 * (ratio[0] / ratio[1] - 1)
            side = "below" if off < 0 else "above"
            found = re.search(rf"{what} ([\d.]+) % (above|below)", sentence)
            assert found
            assert found[2] == side or abs(off) < 0.05
            assert float(found[1]) == pytest.approx(abs(off), abs=0.06)


def test_every_figure_of_the_laws_stands_on_the_page(folder: Path) -> None:
    found = tables(html(folder))
    laws = csv(folder, "laws").set_index(["case", "method", "clock"])
    seen = 0
    for caption, (head, *rows) in found.items():
        told = re.fullmatch(r"(Scale|Shape) over true, (.*)\.", caption)
        if not told:
            continue
        for row in rows:
            case = {"no difficulty": "none"}.get(row[0], row[0].replace(" ", "_"))
            for heading, cell in zip(head[1:], row[1:], strict=True):
                key = (case, METHODS.get(heading, heading), CLOCKS[told[2]])
                law = laws.loc[key]
                assert f"{law[told[1].lower() + '_ratio']:.3f} +- " in cell
                assert f"{law['n_failed']:,.0f}".replace(",", " ") + " failures" in cell
                seen += 1
    assert seen == 2 * len(laws)


def test_lives_found_and_beliefs_are_those_of_the_tables(folder: Path) -> None:
    found = tables(html(folder))
    for name, start, columns in (
        ("found", "True lives", ["share_found", "share_right_end", "share_within_bounds"]),
        ("presence", "Belief", ["believed", "there"]),
    ):
        rows = csv(folder, name)
        caption = next(c for c in found if c.startswith(start))
        assert len(found[caption]) == len(rows) + 1
        shown = sorted(c for row in found[caption][1:] for c in row[1:] if c.endswith("\u00a0%"))
        for value in rows[columns].stack():
            assert f"{100 * value:.1f}\u00a0%" in shown


def test_the_page_needs_no_network_and_prints(folder: Path) -> None:
    text = html(folder)
    assert not re.search(r"<script|https?:|<link|<img|url\(|@import", text)
    assert "@media print" in text
    assert len(text) < 200_000


def test_a_screen_reader_finds_its_way(folder: Path) -> None:
    text = html(folder)
    assert '<html lang="en">' in text
    assert len(re.findall("<h1", text)) == 1
    assert "<main" in text
    pieces = re.findall(r"<table.*?</table>", text, re.DOTALL)
    assert len(pieces) == 8
    for piece in pieces:
        assert "<caption" in piece
        assert not re.search(r"<th(?![^>]*scope=)(?=[ >])", piece)


def made(**laws: object) -> dict[str, pd.DataFrame]:
    row = {"case": "none", "n_fleets": 2, "clock": "both", "n_laws": 3, "n_failed": 40,
           "scale_ratio_se": 0.01, "shape_ratio_se": 0.01}  # fmt: skip
    rows = [
        row | {"method": "table", "scale_ratio": 0.9, "shape_ratio": 1.03},
        row | {"method": "true lives", "scale_ratio": 1.0, "shape_ratio": 1.0},
    ]
    found = {"case": "none", "n_fleets": 2, "clock_source": "any", "n_lives": 50}
    return {
        "prove_lives_laws": pd.DataFrame([r | laws for r in rows]),
        "prove_lives_found": pd.DataFrame(
            [found | dict.fromkeys(
                ("share_found", "share_right_end", "error_hours_median", "error_hours_p90",
                 "share_within_bounds", "error_days_median", "error_days_p90"), 0.5) | laws]
        ),
        "prove_lives_presence": pd.DataFrame(
            columns=["case", "n_fleets", "from_probability", "to_probability", "n_units",
                     "believed", "there", "brier_score"]
        ),
    }  # fmt: skip


def test_what_misses_its_aim_is_named(tmp_path: Path) -> None:
    text = words(write_prove_lives_page(tmp_path, made(), INFO).read_text(encoding="utf-8"))
    assert "Scale is 10.0 % below and shape 3.0 % above that of the true lives" in text
    assert "aim not met by scale." in text
    assert "seed 1" in text


def test_text_of_the_tables_is_escaped(tmp_path: Path) -> None:
    page = write_prove_lives_page(tmp_path, made(case="<b>a & b</b>"), INFO)
    text = page.read_text(encoding="utf-8")
    assert "<b>" not in text
    assert "&lt;b&gt;a &amp; b&lt;/b&gt;" in text


def test_fleets_too_small_for_any_law_say_so(tmp_path: Path) -> None:
    proof = prove_lives(wanted=("none",), n_fleets=1, n_units=2, n_years=0.5, seed=5)
    proof.written(tmp_path)
    assert "No case has failures enough for a law." in words(html(tmp_path))
    assert "too few failures" in proof.text


def test_the_same_tables_write_the_same_page(folder: Path, tmp_path: Path) -> None:
    read = {f"prove_lives_{n}": csv(folder, n) for n in ("laws", "found", "presence")}
    for out in (tmp_path / "one", tmp_path / "two"):
        LivesProof(read, INFO).written(out)
    assert html(tmp_path / "one") == html(tmp_path / "two")
