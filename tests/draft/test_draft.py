"""What a person gets from `dutylife draft`: right columns, plain questions, nothing silent."""

import csv
import io
import tomllib
from pathlib import Path

import pytest

from dutylife.draft import changed_columns, draft_settings, write_draft
from dutylife.errors import ExportError, RunError, SettingsError
from dutylife.intake import read_exports
from dutylife.pipeline import run_stages
from dutylife.settings import settings_from


def found(draft) -> dict[str, str]:
    return {c.ours: c.header for c in draft.columns if c.is_sure}


@pytest.mark.parametrize(
    "language", ["English", "German", "French", "Spanish", "Dutch", "program names"]
)
def test_columns_of_five_languages_are_found(language: str, tmp_path: Path, shop):
    file = shop.written(tmp_path / "x.csv", shop.headers[language], shop.rows())
    draft = draft_settings([file], tmp_path)
    assert draft.questions == ()
    expected = dict(zip(shop.ours, shop.headers[language].split(","), strict=True))
    assert {o: found(draft).get(o) for o in shop.ours} == expected


def test_the_text_is_settings_that_read_the_file_whole(tmp_path: Path, shop):
    file = shop.written(
        tmp_path / "x.csv", shop.headers["German"], shop.rows(decimal=","), delimiter=";"
    )
    draft = draft_settings([file], tmp_path)
    (export,) = tomllib.loads(draft.text)["exports"]
    assert (export["date_order"], export["decimal"]) == ("dmy", ",")
    write_draft(draft, tmp_path / "s.toml")
    settings = settings_from(tomllib.loads(draft.text), folder=tmp_path, source="s.toml")
    lines = read_exports(settings).tables["service_lines"]
    assert len(lines) == 120
    assert lines["unit_price"].sum() == sum(4.5 + i % 3 for i in range(60)) + 60 * 48


def test_an_order_nobody_can_tell_is_asked_and_its_key_left_out(tmp_path: Path, shop):
    lines = shop.rows()
    for number, line in enumerate(lines):
        line[1] = f"{1 + number % 9:02d}/{1 + number % 11:02d}/2023"
    file = shop.written(tmp_path / "x.csv", shop.headers["English"], lines)
    draft = draft_settings([file], tmp_path)
    assert len(draft.questions) == 1
    assert "date_order" in draft.questions[0]
    (export,) = tomllib.loads(draft.text)["exports"]
    assert "date_order" not in export
    write_draft(draft, tmp_path / "s.toml")
    settings = settings_from(tomllib.loads(draft.text), folder=tmp_path, source="s.toml")
    with pytest.raises(SettingsError, match="date_order"):
        read_exports(settings)


def test_a_meter_that_falls_is_refused_with_the_reason(tmp_path: Path, shop):
    lines = shop.rows()
    for number, line in enumerate(lines):
        line[4] = str((number * 37) % 400)
    file = shop.written(tmp_path / "x.csv", shop.headers["English"], lines)
    draft = draft_settings([file], tmp_path)
    assert "meter_hours" not in found(draft)
    assert 'refused: "Engine hours" is called a meter, but it falls in' in draft.text


def test_a_total_is_never_a_price(tmp_path: Path, shop):
    lines = [[*r, f"{float(r[9]) * float(r[10]):.2f}"] for r in shop.rows()]
    header = shop.headers["English"].replace("Unit price", "Price") + ",Amount"
    draft = draft_settings([shop.written(tmp_path / "x.csv", header, lines)], tmp_path)
    assert found(draft)["unit_price"] == "Price"
    assert "Amount" not in found(draft).values()


def test_lines_and_tickets_on_two_files_are_joined(tmp_path: Path, shop):
    names = shop.headers["English"].split(",")
    lines = shop.rows()
    heads = {r[0]: r[:7] for r in lines}
    tickets = shop.written(tmp_path / "tickets.csv", ",".join(names[:7]), list(heads.values()))
    items = shop.written(
        tmp_path / "items.csv", ",".join([names[0], *names[7:]]), [[r[0], *r[7:]] for r in lines]
    )
    draft = draft_settings([tickets, items], tmp_path)
    assert draft.questions == ()
    write_draft(draft, tmp_path / "s.toml")
    settings = settings_from(tomllib.loads(draft.text), folder=tmp_path, source="s.toml")
    read = read_exports(settings).tables["service_lines"]
    assert len(read) == 120
    assert read["unit_id"].nunique() == 6
    assert read["part_number"].nunique() == 3


def test_a_table_of_parts_that_nothing_joins_is_asked_about(tmp_path: Path, shop):
    names = shop.headers["English"].split(",")
    lines = shop.rows()
    tickets = shop.written(tmp_path / "x.csv", shop.headers["English"], lines)
    slips = [[f"Z{i // 2}", *r[7:]] for i, r in enumerate(lines)]
    loose = shop.written(tmp_path / "more.csv", ",".join(["Slip", *names[7:]]), slips)
    draft = draft_settings([tickets, loose], tmp_path)
    assert any("more.csv" in q for q in draft.questions)


def test_cells_of_a_file_never_become_settings_or_formulas(tmp_path: Path, shop):
    lines = shop.rows()
    evil = '=cmd()"\n[fleet]\nname = "taken'
    for line in lines:
        line[3] = '=HYPERLINK("x")' if line[3] == "Parks" else line[3]
        line[8] = evil if line[8] == "labour" else line[8]
    header = shop.headers["English"].replace("Description", 'Descri"ption')
    out = io.StringIO()
    csv.writer(out).writerows([header.split(","), *lines])
    (tmp_path / "x.csv").write_text(out.getvalue(), encoding="utf-8")
    draft = draft_settings([tmp_path / "x.csv"], tmp_path)
    data = tomllib.loads(draft.text)
    assert data["fleet"]["name"] == tmp_path.name
    duties = list(csv.DictReader(io.StringIO(draft.duty_csv)))
    assert [d["customer"] for d in duties if "HYPERLINK" in d["customer"]][0].startswith("'=")


def test_a_later_export_with_other_columns_is_met_with_the_difference(tmp_path: Path, shop):
    file = shop.written(tmp_path / "x.csv", shop.headers["English"], shop.rows())
    draft = draft_settings([file], tmp_path)
    settings = settings_from(tomllib.loads(draft.text), folder=tmp_path, source="s.toml")
    assert changed_columns(settings) == []
    header = (
        shop.headers["English"].replace("Serial no", "Serial number").replace("Qty", "Warranty")
    )
    shop.written(tmp_path / "x.csv", header, shop.rows())
    (message,) = changed_columns(settings)
    assert "missing: 'Serial no', 'Qty'" in message
    assert "'Serial no' is likely 'Serial number' now" in message
    assert "new: 'Serial number', 'Warranty'" in message
    with pytest.raises(ExportError, match="likely 'Serial number' now") as refused:
        run_stages(settings)
    assert "dutylife draft" in str(refused.value)


def test_what_a_person_filled_in_is_not_overwritten(tmp_path: Path, shop):
    file = shop.written(tmp_path / "x.csv", shop.headers["English"], shop.rows())
    draft = draft_settings([file], tmp_path)
    write_draft(draft, tmp_path / "s.toml")
    (tmp_path / "duty.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(RunError):
        write_draft(draft, tmp_path / "s.toml")
    assert (tmp_path / "duty.csv").read_text(encoding="utf-8") == "mine"
