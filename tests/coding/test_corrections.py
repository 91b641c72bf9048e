"""Corrections: what a person says of a text stands, survives a new export, and is counted."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dutylife.coding import code_lines, review_csv
from dutylife.coding.keys import as_typed, content_key, harmless, normalised
from dutylife.errors import SettingsError
from dutylife.schema import as_table
from dutylife.settings import settings_from

Code = Callable[..., dict[str, pd.DataFrame]]
HEADER = "content_key,text,part_description,component,activity,reason,finding\n"


@pytest.fixture
def code_in(tmp_path: Path) -> Code:
    """Code lines with the text of a corrections file."""

    def run(
        *lines: dict[str, Any], corrections: str | bytes, review: bool = False, **coding: Any
    ) -> dict[str, pd.DataFrame]:
        data = corrections if isinstance(corrections, bytes) else corrections.encode()
        (tmp_path / "corrections.csv").write_bytes(data)
        rows = [
            {
                "line_id": f"L{n}", "source_file": "lines.csv", "source_row": n + 2,
                "ticket": "J1", "unit_id": "U1", "service_date": "2024-03-01",
                "line_kind": "part" if "part_number" in line else "labour", "quantity": 1.0,
            } | line
            for n, line in enumerate(lines)
        ]  # fmt: skip
        given = {
            "coding": coding | {"corrections": "corrections.csv"}, "fleet": {"as_of": "2024-12-31"}
        }  # fmt: skip
        return code_lines(
            as_table("service_lines", pd.DataFrame(rows)),
            as_table("units", pd.DataFrame([{"unit_id": "U1"}])),
            as_table("shelf", pd.DataFrame()),
            settings_from(given, folder=tmp_path),
            review=review,
        )

    return run


def test_an_understood_text_is_overridden(code_in: Code, events_of: Any):
    line = {"work_done": "Plug  renewed"}
    as_read = code_in(line, corrections=HEADER)
    assert events_of(as_read)["spark plug"][0] == "replace"
    said = code_in(line, corrections=HEADER + ",PLUG renewed,,ignition cap,clean,preventive,worn\n")
    assert events_of(said) == {"ignition cap": ("clean", "preventive", "worn")}


def test_blanks_leave_what_was_read(code_in: Code, events_of: Any):
    rows = HEADER + ",spark plug fouled and renewed,,,,opportunistic,\n"
    coded = code_in({"work_done": "Spark plug fouled and renewed"}, corrections=rows)
    assert events_of(coded) == {"spark plug": ("replace", "opportunistic", "failed")}


def test_a_part_line_is_overridden_whatever_its_number_says(code_in: Code, events_of: Any):
    line = {"part_number": "X-1", "description": "spark plug"}
    coded = code_in(line, corrections=HEADER + ",,Spark plug,air filter,,,\n")
    assert set(events_of(coded)) == {"air filter"}
    none = code_in(line, corrections=HEADER + ",,Spark plug,none,,,\n")
    assert none["maintenance_events"].empty


def test_several_rows_and_cells_name_several_components(code_in: Code, events_of: Any):
    rows = HEADER + ",the usual,,spark plug; air filter,replace,,\n,the usual,,carburetor,clean,,\n"
    coded = code_in({"work_done": "the usual"}, corrections=rows)
    done = {name: event[0] for name, event in events_of(coded).items()}
    assert done == {"spark plug": "replace", "air filter": "replace", "carburetor": "clean"}


def test_lines_touched_are_counted_and_idle_corrections_named(code_in: Code):
    rows = HEADER + ",the usual,,spark plug,,,\n,never typed,,air filter,,,\n"
    lines = [{"work_done": "The usual", "ticket": f"J{n}"} for n in range(3)]
    coded = code_in(*lines, corrections=rows)
    used = coded["corrections_used"].set_index("text")["n_lines"]
    assert used.to_dict() == {"the usual": 3, "never typed": 0}
    told = coded["findings"].set_index("key")["message"].astype(str)
    assert "3 lines" in told["touched"]
    assert "'never typed' (row 3)" in told["touched nothing"]


def test_a_key_holds_nothing_of_file_row_ticket_or_typing():
    assert content_key("  Plug OK ") == content_key("plug   ok")
    assert content_key("plug ok") != content_key("", "plug ok")
    assert normalised("Gepru\u0308ft") == "gepr\u00fcft"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (",x,,spark plugg,,,\n", "row 2: component 'spark plugg' is not known (did you mean"),
        (",x,,spark plug,mend,,\n", "row 2: activity 'mend' is none of replace, repair"),
        ("12,x,,spark plug,,,\n", "row 2: content_key '12' is none"),
        (",,,spark plug,,,\n", "row 2: neither content_key nor text"),
        (",x,,spark plug,,,\n,X,,spark plug,clean,,\n", "row 3: the text of row 2 again"),
        (",x,,spark plug,,,,,more\n", "Row 2 of the corrections has 9 cells"),
        (',"x,,spark plug,,,\n', "no readable table"),
    ],
)
def test_a_bad_file_is_refused_with_row_and_mend(code_in: Code, rows: str, said: str):
    with pytest.raises(SettingsError) as caught:
        code_in({"work_done": "x"}, corrections=HEADER + rows)
    assert said in caught.value.what
    assert "corrections.csv" in caught.value.where
    assert caught.value.mend


def test_every_fault_is_told_at_once(code_in: Code):
    rows = ",x,,no such thing,,,\n,y,,spark plug,,often,\n,z,,spark plug,,,broken\n"
    with pytest.raises(SettingsError, match="3 faults.*row 2.*row 3.*row 4"):
        code_in({"work_done": "x"}, corrections=HEADER + rows)


def test_a_file_without_the_columns_or_missing_is_refused(code_in: Code, tmp_path: Path):
    with pytest.raises(SettingsError, match="names no column component"):
        code_in({"work_done": "x"}, corrections="a,b\n1,2\n")
    given = {"coding": {"corrections": "gone.csv"}, "fleet": {"as_of": "2024-12-31"}}
    empty = [as_table(n, pd.DataFrame()) for n in ("service_lines", "units", "shelf")]
    with pytest.raises(SettingsError, match="does not exist"):
        code_lines(*empty, settings_from(given, folder=tmp_path))


def test_saved_by_a_spreadsheet_with_semicolons(code_in: Code, events_of: Any):
    rows = (HEADER + ",der \u00fcbliche,,spark plug,replace,,\n").replace(",", ";")
    coded = code_in({"work_done": "Der \u00fcbliche"}, corrections=rows.encode("cp1252"))
    assert events_of(coded)["spark plug"][0] == "replace"


def test_what_check_writes_comes_back_as_corrections(code_in: Code, tmp_path: Path):
    lines = [{"work_done": "=cmd|'x'!A1 mended", "ticket": "J1"}]
    lines += [{"work_done": f"thing {n} mended", "ticket": f"J{n}"} for n in range(2, 5)]
    first = code_in(*lines, corrections=HEADER, review=True)
    text = review_csv(first["to_review"])
    assert not [c for row in text.splitlines() for c in row.split(",") if c.startswith(("=", "@"))]
    filled = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    filled["component"] = "spark plug"
    again = code_in(*reversed(lines), corrections=filled.to_csv(index=False), review=True)
    assert again["to_review"].empty
    assert set(again["maintenance_events"]["component"]) == {"spark plug"}
    assert (again["corrections_used"]["n_lines"] == 1).all()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@a", "\t=1", " =1", "'quoted", "plain"])
def test_no_cell_can_run_and_all_come_back(text: str):
    assert not harmless(text).lstrip(" ").startswith(("=", "+", "-", "@", "\t"))
    assert as_typed(harmless(text)) == text
