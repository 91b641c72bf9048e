"""A short form of the generated inputs, the same ones each time; and inputs that once crashed."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fuzzing import Tally, read_file, run  # noqa: E402

from dutylife.errors import DutylifeError, ExportError
from dutylife.intake import read_exports
from dutylife.pipeline import check
from dutylife.settings import settings_from  # noqa: E402

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


@pytest.mark.parametrize("path", ["lines.csv" + "9" * 300, "ö" * 200, "a/" * 600 + "lines.csv"])
def test_a_path_no_file_can_have_is_told(path: str, tmp_path: Path):
    settings = settings_from(
        {"exports": [{"path": path}], "duty": {"all": "kerb"}},
        folder=tmp_path, source="run.toml",
    )  # fmt: skip
    with pytest.raises(ExportError, match="none that a file can have") as told:
        read_exports(settings)
    assert told.value.mend


@pytest.mark.parametrize("path", ["file" + "9" * 300, "ö" * 200])
@pytest.mark.parametrize(
    "key", ["plan.in_force", "duty.path", "coding.lexicon", "coding.corrections"]
)
def test_a_file_beside_the_settings_that_none_can_have_is_told(key, path, tmp_path: Path):
    (tmp_path / "lines.csv").write_text("Job,Day,Unit\n1,2025-01-02,A\n", encoding="utf-8")
    section, name = key.split(".")
    columns = {"ticket": "Job", "service_date": "Day", "unit_id": "Unit"}
    given = {
        "fleet": {"as_of": "2025-12-31"}, "duty": {"all": "kerb"},
        "exports": [{"path": "lines.csv", "columns": columns}],
    }  # fmt: skip
    given[section] = ({} if key == "duty.path" else given.get(section, {})) | {name: path}
    with pytest.raises(DutylifeError) as told:
        check(settings_from(given, folder=tmp_path, source="run.toml"))
    assert told.value.mend
