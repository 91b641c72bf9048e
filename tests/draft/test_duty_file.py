"""duty.csv: proposals with a reason, no silent default, confirmed by a person."""

import csv
import io
import tomllib
from pathlib import Path

import pytest

from dutylife.draft import draft_settings, write_draft
from dutylife.intake import read_exports
from dutylife.settings import settings_from


@pytest.fixture
def drafted(tmp_path: Path, shop):
    shop.written(tmp_path / "x.csv", shop.headers["English"], shop.rows())
    draft = draft_settings([tmp_path / "x.csv"], tmp_path)
    write_draft(draft, tmp_path / "s.toml")
    return draft


def asks(folder: Path, text: str, **duty: object) -> list[str]:
    data = tomllib.loads(text)
    data["duty"] |= duty
    read = read_exports(settings_from(data, folder=folder, source="s.toml"))
    found = read.tables["findings"]
    return [m for m in found.loc[found["kind"] == "ask", "message"] if "duty" in m]


def confirmed(text: str, names: set[str], word: str = "yes") -> str:
    table = list(csv.reader(io.StringIO(text)))
    for row in table[1:]:
        row[-1] = word if row[0] in names else ""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(table)
    return out.getvalue()


def test_customers_are_listed_by_tickets_with_a_reason(drafted):
    table = list(csv.DictReader(io.StringIO(drafted.duty_csv)))
    assert {r["customer"]: r["duty"] for r in table} == {
        "Kerb Store": "stone dust", "Quay Crew": "salt and wet", "Parks": "green work",
    }  # fmt: skip
    assert all(r["reason"] and r["confirmed"] == "" for r in table)
    assert [int(r["n_tickets"]) for r in table] == sorted(
        (int(r["n_tickets"]) for r in table), reverse=True
    )


def test_nothing_counts_until_a_person_confirms(drafted, tmp_path: Path):
    (message,) = asks(tmp_path, drafted.text)
    assert "3 customers with 100% of the machines' lines" in message
    text = confirmed(drafted.duty_csv, {"Kerb Store"})
    (tmp_path / "duty.csv").write_text(text, encoding="utf-8")
    (message,) = asks(tmp_path, drafted.text)
    assert "2 customers with 67%" in message
    text = confirmed(drafted.duty_csv, {"Kerb Store", "Quay Crew", "Parks"}, "Ja")
    (tmp_path / "duty.csv").write_text(text, encoding="utf-8")
    assert asks(tmp_path, drafted.text) == []


def test_one_duty_for_all_is_an_answer_too(drafted, tmp_path: Path):
    assert asks(tmp_path, drafted.text, all="mixed work") == []


def test_a_confirmed_duty_is_on_lines_and_spans(drafted, tmp_path: Path):
    text = confirmed(drafted.duty_csv, {"Kerb Store"})
    (tmp_path / "duty.csv").write_text(text, encoding="utf-8")
    read = read_exports(settings_from(tomllib.loads(drafted.text), folder=tmp_path, source="s"))
    spans = read.tables["unit_spans"].astype("object")
    duty = dict(zip(spans["customer"], spans["duty"], strict=True))
    assert duty["Kerb Store"] == "stone dust"
    assert duty["Quay Crew"] == "not stated"
