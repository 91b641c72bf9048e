"""Patterns of settings read the letters of every language."""

import pytest

from dutylife.intake.layout.parts import _by_pattern, _checked


@pytest.mark.parametrize(
    ("piece", "told"),
    [
        ("Z-118 Zündkerze x3", ("Z-118", "Zündkerze", "3", "")),
        ("Z-118 bougie_à_vis x12", ("Z-118", "bougie_à_vis", "12", "")),
        ("plain words", ("", "plain words", "", "")),
    ],
)
def test_a_word_may_hold_an_umlaut(piece: str, told: tuple[str, ...]):
    pattern = r"(?P<part_number>[\w-]+)\s(?P<description>\w+) x(?P<quantity>\d+)"
    assert _by_pattern([piece], _checked(pattern, "exports.1"))[0] == told
