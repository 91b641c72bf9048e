"""A short form of the generated inputs, the same ones each time; and inputs that once crashed."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fuzzing import Tally, read_file, run  # noqa: E402

from dutylife.errors import DutylifeError  # noqa: E402

FOUND = Path(__file__).parent / "found"
SIZES = {"files": 60, "settings": 60, "keys": 8, "texts": 500, "wholes": 4}


@pytest.mark.parametrize("kind", SIZES)
def test_every_input_is_read_or_refused_with_its_cure(kind: str):
    tally = run(Tally(), {kind: SIZES[kind]}, derandomize=True)
    assert tally.n_inputs >= 0.9 * SIZES[kind]
    assert not tally.crashes, next(iter(tally.crashes.values()))[2]


def test_a_planted_crash_and_a_lost_row_are_seen():
    tally = Tally()
    tally.hold("files", "a", b"1", lambda: 1 // 0)

    def lost() -> int:
        assert [] == [1], "rows lost"  # noqa: PT017
        return 1

    tally.hold("files", "b", b"2", lost)
    assert len(tally.crashes) == 2
    assert tally.n_inputs == 2


@pytest.mark.parametrize("path", sorted(FOUND.iterdir()), ids=lambda p: p.name)
def test_what_once_crashed_is_told(path: Path, tmp_path: Path):
    try:
        assert read_file(tmp_path, path.name, path.read_bytes()) == 1
    except DutylifeError as error:
        assert error.mend  # noqa: PT017
