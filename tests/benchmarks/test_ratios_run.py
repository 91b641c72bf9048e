"""The benchmarks run and compare like with like; how fast they are is for a person to read."""

import re

import coding_speed
import pytest
import ratios


def test_every_ratio_is_printed_beside_its_target(capsys: pytest.CaptureFixture[str]):
    assert ratios.main(["--rows", "300", "--repeats", "1"]) == 0
    printed = capsys.readouterr().out.splitlines()
    assert [re.sub(r"^(\S+) +[\d.]+  \((.*?)\).*", r"\1 \2", line) for line in printed] == [
        "P16 target <= 0.35", "P17 target <= 2.5", "P17-whole no target",
    ]  # fmt: skip


def test_the_plain_way_of_coding_finds_the_phrases():
    from dutylife.coding.lexicon import build_lexicon
    from dutylife.settings import settings_from

    pattern = coding_speed.alternation(build_lexicon(settings_from({})))
    assert pattern.findall("spark plug cap cracked, renewed") == [
        "spark plug cap", "cracked", "renewed",
    ]  # fmt: skip
