"""A mapping laid open: right ones stand, a wrong one is told, what nothing reads is shown."""

from pathlib import Path

import pandas as pd

from dutylife.coding import texts_as_read
from dutylife.draft import confirm_mapping
from dutylife.schema import as_table

LINES = """Job,Day,Rig,Work,Price,Colour
1,03/04/2025,TP-1,carb gummed up cleaned,12.50,red
2,21/04/2025,TP-2,air filter renewed,7.00,blue
3,30/04/2025,TP-1,plug renewed,3.10,red
"""


def settings(folder: Path, **columns: str) -> Path:
    (folder / "lines.csv").write_text(LINES)
    own = {"service_date": "Day", "ticket": "Job", "unit_id": "Rig", "work_done": "Work"} | columns
    keys = "\n".join(f'{ours} = "{theirs}"' for ours, theirs in own.items())
    text = f'[fleet]\nname = "x"\n[[exports]]\npath = "lines.csv"\n[exports.columns]\n{keys}\n'
    (folder / "s.toml").write_text(text + '[duty]\nall = "yard"\n')
    return folder / "s.toml"


def test_examples_stand_beside_what_is_made_of_them(tmp_path: Path):
    found = confirm_mapping(settings(tmp_path, unit_price="Price"))
    table = found.table.set_index("header")
    assert table.loc["Day", "examples"] == "03/04/2025 | 21/04/2025 | 30/04/2025"
    assert table.loc["Day", "understood_as"] == "2025-04-03 | 2025-04-21 | 2025-04-30"
    assert table.loc["Price", "understood_as"] == "12.5 | 7 | 3.1"
    assert table.loc["Colour", "read_as"] == "not used"
    assert (table["say"] == "").all()
    assert found.text == (
        "5 columns of 1 file are read, 1 are not used; nothing in the cells speaks against it."
    )


def test_a_column_mapped_wrong_is_told(tmp_path: Path):
    found = confirm_mapping(settings(tmp_path, meter_hours="Colour"))
    said = found.table.set_index("header").loc["Colour", "say"]
    assert said == "some cells can't be read as that"
    assert found.n_doubtful == 1
    assert "1 column should be looked at" in found.text


def test_texts_stand_beside_their_codes_most_frequent_first():
    lines = as_table(
        "service_lines",
        pd.DataFrame(
            [
                {"line_id": f"l{n}", "source_file": "f", "source_row": n, "ticket": f"J{n}",
                 "service_date": "2025-01-01", "line_kind": "labour", "work_done": text}
                for n, text in enumerate(["carb cleaned", "carb cleaned", "filter renewed", None])
            ]
        ),
    )  # fmt: skip
    made = as_table(
        "maintenance_events",
        pd.DataFrame(
            [
                {"unit_id": "A", "component": "carburetor", "event_date": "2025-01-01",
                 "activity": "clean", "ticket": "J0", "line_ids": "l0", "reason": "failure"},
                {"unit_id": "B", "component": "carburetor", "event_date": "2025-01-02",
                 "activity": "clean", "ticket": "J1", "line_ids": "l1;l3", "reason": "failure"},
                {"unit_id": "A", "component": "air filter", "event_date": "2025-01-03",
                 "activity": "replace", "ticket": "J2", "line_ids": "l2", "reason": "failure"},
            ]
        ),
    )  # fmt: skip
    read = texts_as_read(lines, made)
    assert read.table[["text", "component", "n_lines"]].to_numpy().tolist() == [
        ["carb cleaned", "carburetor", 2], ["filter renewed", "air filter", 1],
    ]  # fmt: skip
    assert read.text.startswith("2 work texts on 3 lines")
    assert texts_as_read(lines, made, "air filter").n_texts == 1
