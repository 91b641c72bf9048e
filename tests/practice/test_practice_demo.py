"""The committed demonstration data are what the generator makes, small, and of invented things."""

import re
from pathlib import Path

import pytest

from dutylife.practice import make_practice

DEMO = Path(__file__).parents[2] / "data_demo"
MOST_BYTES = 2_000_000


@pytest.fixture(scope="module")
def files():
    return sorted(path for path in DEMO.rglob("*") if path.is_file())


def test_the_committed_files_are_what_the_generator_makes(files, tmp_path):
    made = make_practice(tmp_path)
    names = {path.relative_to(tmp_path).as_posix() for path in made.values()}
    assert names == {path.relative_to(DEMO).as_posix() for path in files}
    for name in sorted(names):
        assert (DEMO / name).read_bytes() == (tmp_path / name).read_bytes(), name


def test_they_are_small(files):
    assert sum(path.stat().st_size for path in files) < MOST_BYTES


def test_they_are_marked_invented_and_say_how_they_were_made():
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    assert "Everything here is invented" in text
    assert "--seed 7" in text
    laws = (DEMO / "truth" / "laws.csv").read_text(encoding="utf-8").splitlines()[1:]
    for law in laws:
        component, duty, clock, distribution, shape, scale = law.split(",")
        row = f"| {component} | {duty} | {clock} | {distribution} | {float(shape):g} "
        assert row + f"| {float(scale):g} |" in text


@pytest.mark.parametrize("word", ["compressor", "roof", "cement", "won't rev", "wont rev"])
def test_what_the_demonstration_must_not_tell(files, word):
    for path in files:
        # a word of its own: "replacement_price" is a settings key
        assert not re.search(rf"\b{word}", path.read_text(encoding="utf-8").lower()), path.name
