"""duty.csv: proposals with a reason, no silent default, confirmed by a person."""

import csv
import io
import tomllib
from pathlib import Path

import pandas as pd
import pytest

from dutylife.draft import draft_settings, write_draft
from dutylife.draft.duty import propose_duties
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


def test_a_new_draft_keeps_what_was_confirmed(drafted, tmp_path: Path):
    text = confirmed(drafted.duty_csv, {"Kerb Store"}).replace("stone dust", "our own name")
    head, *rows = csv.reader(io.StringIO(text))
    with (tmp_path / "duty.csv").open("w", newline="") as file:  # sorted and saved anew
        csv.writer(file, delimiter=";").writerows([head, *reversed(rows)])
    write_draft(drafted, tmp_path / "s.toml", replace=True)
    with (tmp_path / "duty.csv").open(newline="") as file:
        now = {r["customer"]: r for r in csv.DictReader(file)}
    assert (now["Kerb Store"]["duty"], now["Kerb Store"]["confirmed"]) == ("our own name", "yes")
    assert now["Quay Crew"]["duty"] == "salt and wet"
    assert now["Quay Crew"]["confirmed"] == ""
    assert len(now) == 3


def test_what_a_replaced_draft_held_is_kept_beside_the_new_one(drafted, tmp_path: Path):
    """Settings a person wrote, and duties changed but not yet confirmed, are not lost."""
    folder = tmp_path / "mine"
    settings, duty = folder / "s.toml", folder / "duty.csv"
    write_draft(drafted, settings)
    assert write_draft(drafted, settings, replace=True) == [settings, duty]
    by_hand = drafted.text + "# the west depot counts in miles\n"
    not_confirmed = drafted.duty_csv.replace("stone dust", "quarry")
    settings.write_text(by_hand, encoding="utf-8")
    duty.write_text(not_confirmed, encoding="utf-8")
    kept = [folder / "s.toml.before", folder / "duty.csv.before"]
    assert write_draft(drafted, settings, replace=True) == [kept[0], settings, kept[1], duty]
    assert [p.read_text(encoding="utf-8") for p in kept] == [by_hand, not_confirmed]
    assert settings.read_text(encoding="utf-8") == drafted.text


def test_a_word_for_salt_inside_another_word_is_no_salt():
    lines = pd.DataFrame({
        "customer": ["Meier"] * 20, "ticket": [str(n) for n in range(20)],
        "work_done": ["Zündkerze gewechselt"] * 20,
    })  # fmt: skip
    (row,) = propose_duties(lines).to_dict("records")
    assert row["duty"] == ""
    said = propose_duties(lines.assign(work_done="sel partout")).to_dict("records")
    assert said[0]["duty"] == "salt and wet"


def test_a_name_whose_umlaut_is_written_either_way_is_known():
    for name in ("Grünpflege Süd", "Gruenpflege Sued"):
        lines = pd.DataFrame({"customer": [name], "ticket": ["1"]})
        assert propose_duties(lines)["duty"].tolist() == ["green work"]


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
