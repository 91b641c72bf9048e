"""Zero bytes in cells: taken out, told, and nothing behind them lost."""

import json
from pathlib import Path

from dutylife.intake.readers import read_sheets
from dutylife.settings import Export


def test_a_json_text_loses_its_zero_bytes_and_it_is_told(tmp_path: Path):
    rows = [{"ticket": "J1", "work": "cap\u0000 renewed"}, {"ticket": "J2", "work": "plug ok"}]
    path = tmp_path / "a.json"
    path.write_text(json.dumps(rows), encoding="utf-8")
    (sheet,) = read_sheets(path, Export(path="a.json"), "settings: exports.1")
    assert sheet.rows[-2:] == [["J1", "cap renewed"], ["J2", "plug ok"]]
    assert any("zero bytes" in note.message for note in sheet.notes)


def test_cells_without_any_are_as_they_were(tmp_path: Path):
    path = tmp_path / "a.json"
    path.write_text(json.dumps([{"ticket": "J1", "work": "cap"}]), encoding="utf-8")
    (sheet,) = read_sheets(path, Export(path="a.json"), "settings: exports.1")
    assert sheet.notes == ()
