"""A file compressed with gzip is read as what is inside, or refused with the cure."""

import gzip
from pathlib import Path

import pytest

from dutylife.errors import ExportError
from dutylife.intake.readers import read_sheets
from dutylife.settings import Export

TABLE = "Job,Date,Machine\nJ1,2024-03-01,P1\nJ2,2024-03-02,P2\n"


def sheet_rows(path: Path) -> list[list[str]]:
    (sheet,) = read_sheets(path, Export(path=path.name), "exports.1")
    return [list(map(str, row)) for row in sheet.rows]


def test_it_is_read_as_the_file_inside(tmp_path: Path) -> None:
    plain, packed = tmp_path / "lines.csv", tmp_path / "lines.csv.gz"
    plain.write_text(TABLE, encoding="utf-8")
    packed.write_bytes(gzip.compress(TABLE.encode()))
    assert sheet_rows(packed) == sheet_rows(plain)
    twice = tmp_path / "parts.csv.gz"
    twice.write_bytes(gzip.compress(TABLE[:20].encode()) + gzip.compress(TABLE[20:].encode()))
    assert sheet_rows(twice) == sheet_rows(plain)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (gzip.compress(TABLE.encode())[:-12], "cut off"),
        (gzip.compress(b"0" * (50 << 20)), "grows"),
        (b"\x1f\x8b\x08\x00damaged beyond reading", "can't be unpacked"),
        (gzip.compress(gzip.compress(TABLE.encode())), "archive inside an archive"),
        (gzip.compress(b""), "empty"),
    ],
    ids=["cut", "bomb", "damaged", "nested", "empty"],
)
def test_what_is_no_export_is_refused_with_the_cure(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "lines.csv.gz"
    path.write_bytes(data)
    with pytest.raises(ExportError, match=said) as refused:
        read_sheets(path, Export(path=path.name), "exports.1")
    assert "lines.csv.gz" in str(refused.value)
