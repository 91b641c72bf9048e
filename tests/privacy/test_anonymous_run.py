"""A run under pseudonyms holds no name in any byte, the same figures, and keeps to its key."""

import json
import os
import sys
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))

import small_shop  # noqa: E402
from leaks import texts_in  # noqa: E402

from dutylife import reports  # noqa: E402
from dutylife.cli import main  # noqa: E402
from dutylife.errors import RunError  # noqa: E402
from dutylife.pipeline import run  # noqa: E402
from dutylife.privacy import KEY_FILE, KEY_VARIABLE, Pseudonyms, anonymous_tables, key_in  # noqa: E402
from dutylife.privacy.run_tables import FREE_TEXT, JOINED, KEPT, NAMES  # noqa: E402
from dutylife.schema import as_table  # noqa: E402
from dutylife.vocabulary import TABLES  # noqa: E402

KEY = b"a secret that is long enough"
# columns that hold words of ours or sentences: names in them are looked for
SEARCHED = """
activity assumed can_hurt cause_evidence cautions changed_column confirmed counted_by duty
engine_model equipment_class evidence failure_mode finding group grouped_by guess_activity
guess_component guess_finding guess_reason is_now key lasts laws_alike mend message method
part_maker parts plan point position quantity question reason safety_tasks season sentence
stage subject switched_to table task tasks trend unit verdict was weibull would_tell
"""


def every_text(path: Path) -> list[str]:
    """All readings of a file, those inside packed tables too, and its own path."""
    found = [str(path), *texts_in(path)]
    if path.suffix == ".parquet":
        with duckdb.connect() as base:
            found.append(str(base.read_parquet(str(path)).fetchall()))
    return found


def test_a_planted_name_is_seen(tmp_path: Path):
    pd.DataFrame({"a": ["Zebedee Digworth"]}).to_parquet(tmp_path / "a.parquet")
    assert any("Digworth" in t for t in every_text(tmp_path / "a.parquet"))


@pytest.mark.parametrize("pages", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_no_name_is_in_any_byte(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pages: bool):
    if not pages:
        monkeypatch.setattr(reports, "write_pages", lambda *_, **__: None)
    settings = small_shop.write_shop(tmp_path / "shop")
    monkeypatch.chdir(tmp_path)
    plain = run(settings)
    shared = tmp_path / "shared" / "run"
    done = CliRunner().invoke(main, ["run", str(settings), "--anonymise", "--out", str(shared)])
    assert done.exit_code == plain.exit_code, done.output
    files = [p for p in shared.rglob("*") if p.is_file()]
    assert len(files) > 60
    seen = [
        (p.name, name)
        for p in files
        for text in every_text(p)
        for name in small_shop.NAMES
        if name.casefold() in text.casefold().replace(str(tmp_path).casefold(), "")
    ]
    assert seen == []
    # the months stay with the shop, and so does the key
    assert [p.name for p in shared.parent.iterdir()] == ["run"]
    key = next((tmp_path / "reports").rglob(KEY_FILE))
    assert key.stat().st_mode & 0o077 == 0
    # the same figures: rows and sums of every table of numbers
    for path in sorted((plain.folder / "tables").glob("*.csv")):
        one, two = pd.read_csv(path), pd.read_csv(shared / "tables" / path.name)
        assert len(one) == len(two), path.name
        for column in one.select_dtypes("number"):
            if TABLES[path.stem].columns[column].kind != "text":
                assert one[column].sum() == pytest.approx(two[column].sum()), (path.name, column)
    # parts and components stay
    told = pd.read_csv(shared / "tables" / "stock_plan.csv")
    assert set(told["part_number"]) == {"IC-1", "AF-2"}
    assert "ignition cap" in set(told["component"])
    info = json.loads((shared / "run.json").read_text())
    assert info["anonymised"] is True
    assert info["rows_in"] == plain.info["rows_in"]
    # neither takes the other's place
    done = CliRunner().invoke(main, ["run", str(settings), "--out", str(shared)])
    assert done.exit_code == 2
    assert "under pseudonyms" in done.output


def test_every_column_of_text_is_decided_on():
    """A column of names added to the vocabulary must be named here, or be known to hold none."""
    known = {*NAMES, *JOINED, *FREE_TEXT, *KEPT}
    searched = {
        c for t in TABLES.values() if not t.name.startswith("prove_")
        for c, col in t.columns.items()
        if col.kind in ("word", "text") and not col.words and c not in known
    }  # fmt: skip
    assert sorted(searched) == SEARCHED.split()
    for name in ("unit_id", "customer", "ticket", "complaint", "work_done", "supplier", "alias"):
        assert name in known


@given(st.text(max_size=30), st.sampled_from(sorted(set(NAMES.values()))))
def test_a_pseudonym_keeps_to_its_key_and_tells_nothing(name: str, kind: str):
    one, again, other = Pseudonyms(KEY), Pseudonyms(KEY), Pseudonyms(KEY + b"x")
    told = one.of(kind, name)
    assert told == again.of(kind, name)
    if name:
        assert told != other.of(kind, name)
        assert told.startswith(f"{kind}-")
        assert len(told) == len(kind) + 13
        if len(name) > 6:
            assert name not in told


def test_spellings_of_one_machine_or_customer_are_one():
    names = Pseudonyms(KEY)
    assert names.of("machine", "TP-1") == names.of("machine", "tp- 1")
    assert names.of("customer", "Kerb Crew") == names.of("customer", "KERB CREW")
    assert names.of("machine", "Kerb Crew") != names.of("customer", "Kerb Crew")
    assert names.of("ticket", "J1") != names.of("ticket", "j1")


def test_names_inside_sentences():
    names = Pseudonyms(KEY)
    names.look_for("customer", ["Kerb Crew", "Kerb Crew North", "Ott", "(Hill) & Sons"])
    names.look_for("machine", ["TP-1", "TP-12", "7", "4711"])
    crew, north, ott, hill = (
        names.of("customer", n) for n in ("Kerb Crew", "Kerb Crew North", "Ott", "(Hill) & Sons")
    )
    one, twelve, number = (names.of("machine", n) for n in ("TP-1", "TP-12", "4711"))
    text = "kerb crew, Kerb Crew North and Ott (not Otto): TP-1, TP-12, TP-123, 4711, 47110; 7 of 9"
    assert names.without_names(text) == (
        f"{crew}, {north} and {ott} (not Otto): {one}, {twelve}, TP-123, {number}, 47110; 7 of 9"
    )
    assert names.without_names("for (Hill) & Sons.") == f"for {hill}."


def test_findings_that_quote_say_nothing_and_others_lose_their_names():
    rows = [
        {"finding_id": "1", "stage": "coding", "kind": "note", "message": "'Digworth' as 'dig'",
         "mend": "ask Digworth", "key": "Digworth", "source_row": 0},
        {"finding_id": "2", "stage": "lives", "kind": "ask", "message": "TP-1 has no use rate",
         "mend": "", "key": "unit_id", "source_row": 3},
    ]  # fmt: skip
    names = Pseudonyms(KEY)
    names.look_for("machine", ["TP-1"])
    table = anonymous_tables({"findings": as_table("findings", pd.DataFrame(rows))}, names)
    text = table["findings"].to_csv()
    assert "igworth" not in text
    assert f"{names.of('machine', 'TP-1')} has no use rate" in text
    assert "unit_id" in text


def test_a_finding_that_may_name_a_machine_of_a_short_name_says_nothing():
    """Machines called 12 and K7: a figure may be one of them, and a figure can't be replaced."""
    said = ["believed gone: 3, 12 and 40", "1200 of 1250 lines", "12 lines have no meter",
            "the meter of K7 stood", "k7 is no name, nor is 5"]  # fmt: skip
    rows = [
        {"finding_id": str(n), "stage": "lives", "kind": "note", "message": m, "mend": "see there",
         "key": "", "source_row": n}
        for n, m in enumerate(said)
    ]  # fmt: skip
    rows.append(rows[1] | {"finding_id": "9", "mend": "state the use of 12", "source_row": 9})
    names = Pseudonyms(KEY)
    names.look_for("machine", ["12", "K7"])
    names.look_for("ticket", ["5"])
    table = anonymous_tables({"findings": as_table("findings", pd.DataFrame(rows))}, names)
    by_row = table["findings"].set_index("source_row")["message"].astype("object")
    assert {n for n in by_row.index if "left out" in by_row[n]} == {0, 2, 3, 9}
    assert by_row[1] == said[1]
    assert by_row[4] == said[4]
    assert "use of 12" not in table["findings"].to_csv()


def test_the_key_is_made_once_and_may_come_from_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.delenv(KEY_VARIABLE, raising=False)
    key, where = key_in(tmp_path / "history")
    assert (key, where) == key_in(tmp_path / "history")
    assert len(key) == 64
    assert key_in(tmp_path / "other")[0] != key
    monkeypatch.setenv(KEY_VARIABLE, "x" * 20)
    assert key_in(tmp_path / "history")[0] == b"x" * 20
    monkeypatch.setenv(KEY_VARIABLE, "short")
    with pytest.raises(RunError, match="at least 16"):
        key_in(tmp_path / "history")
    assert os.environ[KEY_VARIABLE] == "short"
