"""Tables as files and in order: the bytes that pandas writes, the order that Python gives texts."""

import numpy as np
import pandas as pd
import pytest

from dutylife.disk import write_csv
from dutylife.errors import TableError
from dutylife.run_folder import write_exact, write_tables
from dutylife.schema import MANY, as_table

AWKWARD = [
    "plain",
    "",
    "a,b",
    'he said "no"',
    "two\nlines",
    "cr\rhere",
    "é\u2028x",
    "  blanks ",
    "'=1",
]


def frame_of(n, seed=3):
    """Every kind of cell a table can hold, with missing ones, in ``n`` rows."""
    rng = np.random.default_rng(seed)
    floats = rng.choice([0.0, -0.0, 1.5, -2.25, 1 / 3, 1e-300, 1e17, np.nan], n)
    words = pd.Series(rng.choice([*AWKWARD, None], n), dtype="object")
    return pd.DataFrame(
        {
            "text": rng.choice(AWKWARD, n),
            "maybe": words,
            "word": words.astype("category"),
            "number": floats,
            "own, name": rng.normal(size=n),
            "count": rng.integers(-5, 10**12, n),
            "flag": pd.Series(rng.choice(["true", "false"], n)).astype("category"),
        }
    )


@pytest.mark.parametrize("n", [0, 1, 1000])
@pytest.mark.parametrize("digits", ["%.10g", "%.17g"])
def test_a_frame_is_written_as_pandas_writes_it(tmp_path, monkeypatch, n, digits):
    monkeypatch.setattr("dutylife.disk.csv_text._AT_ONCE", 300)  # several blocks, the last short
    frame = frame_of(n)
    write_csv(frame, tmp_path / "ours.csv", digits)
    frame.to_csv(
        tmp_path / "theirs.csv", index=False, lineterminator="\n", encoding="utf-8",
        float_format=digits,
    )  # fmt: skip
    assert (tmp_path / "ours.csv").read_bytes() == (tmp_path / "theirs.csv").read_bytes()


def units(names):
    return pd.DataFrame(
        {
            "unit_id": names, "in_service_on": pd.Timestamp("2024-02-29"), "left_on": pd.NaT,
            "equipment_class": "=tamper", "prob_in_service": 0.25,
        }
    )  # fmt: skip


def test_days_flags_and_formulas_are_written_as_they_are_read_back(tmp_path):
    table = as_table("units", units(["b", "a"]))
    write_tables({"units": table}, tmp_path)
    header, first, *_ = (tmp_path / "units.csv").read_text(encoding="utf-8").split("\n")
    told = dict(zip(header.split(","), first.split(","), strict=True))
    assert told["unit_id"] == "a"
    assert told["in_service_on"] == "2024-02-29"
    assert told["left_on"] == ""
    assert told["equipment_class"] == "'=tamper"
    back = pd.read_parquet(tmp_path / "units.parquet")
    assert back["equipment_class"].tolist() == ["=tamper", "=tamper"]
    # what is written leaves the table as it was
    pd.testing.assert_frame_equal(table, as_table("units", units(["b", "a"])))


def test_a_table_of_whole_bits_keeps_them(tmp_path):
    from dutylife.run_folder import quiet_base

    frame = units(["a", "b", "c"]).assign(prob_in_service=[1 / 3, 0.1 + 0.2, np.nan])
    with quiet_base() as base:
        write_exact(base, "units", frame, tmp_path)
    back = pd.read_parquet(tmp_path / "units.parquet")["prob_in_service"]
    assert back.tolist()[:2] == [1 / 3, 0.1 + 0.2]
    assert np.isnan(back[2])


def shelf(numbers):
    return pd.DataFrame(
        {
            "part_number": numbers, "on_hand": np.arange(len(numbers), dtype=float),
            "source_file": "parts.csv", "source_row": range(2, 2 + len(numbers)),
        }
    )  # fmt: skip


@pytest.mark.parametrize("numbers", [["1", "2", "10"], ["b", "a", "C"], ["x"], []])
def test_rows_stand_in_the_order_of_their_key_whether_they_came_so_or_not(numbers):
    table = as_table("shelf", shelf(numbers))
    assert table["part_number"].astype(str).tolist() == sorted(numbers)
    again = as_table("shelf", table)
    pd.testing.assert_frame_equal(again, table)
    assert list(table.index) == list(range(len(numbers)))


@pytest.mark.parametrize("numbers", [["a", "a"], ["a", "b", "b"], ["b", "a", "b"]])
def test_a_key_that_stands_twice_is_told_in_order_or_not(numbers):
    with pytest.raises(TableError, match="not unique"):
        as_table("shelf", shelf(numbers))


def test_a_table_is_none_of_the_callers_cells():
    given = shelf(["a", "b"])
    table = as_table("shelf", given)
    table.loc[0, "on_hand"] = 99.0
    assert given["on_hand"].tolist() == [0.0, 1.0]


def test_many_texts_stand_in_the_order_python_gives_them():
    rng = np.random.default_rng(5)
    signs = np.array(list("aZ0é\u4e2d\U0001f529 -"))
    names = ["".join(signs[rng.integers(0, len(signs), 6)]) + str(i) for i in range(MANY)]
    rows = pd.DataFrame(
        {
            "finding_id": names, "stage": "intake", "kind": "note", "table": "shelf", "key": "k",
            "source_row": 0, "message": "m", "mend": "m",
        }
    )  # fmt: skip
    assert as_table("findings", rows)["finding_id"].tolist() == sorted(names)
    with pytest.raises(TableError, match="not unique"):
        as_table("findings", pd.concat([rows, rows.head(1)]))
