"""Dumps of a database as SQL text are read, never run."""

from pathlib import Path

import pytest

from dutylife.errors import ExportError
from dutylife.intake.readers import Sheet, read_sheets
from dutylife.settings import Export


def read(folder: Path, text: str) -> list[Sheet]:
    path = folder / "dump.sql"
    path.write_text(text, encoding="utf-8")
    return read_sheets(path, Export(path=path.name), "exports.1")


def test_rows_of_many_statements(tmp_path: Path):
    sheets = read(
        tmp_path,
        "-- a dump; of a shop\nBEGIN TRANSACTION;\n"
        'CREATE TABLE "jobs" ("no" INTEGER PRIMARY KEY, "text" TEXT, price DECIMAL(8,2),\n'
        "  CONSTRAINT c CHECK (price > 0));\n"
        "INSERT INTO \"jobs\" VALUES(1,'cap; renewed, ''new''',9.50);\n"
        "INSERT INTO \"jobs\" VALUES(2,NULL,-1.00),(3,'a\\b',NULL);\n"
        "INSERT INTO jobs (price, no) VALUES (4.0, 4);\nCOMMIT;\n",
    )
    assert [s.name for s in sheets] == ["jobs"]
    assert sheets[0].header == ("no", "text", "price")
    assert sheets[0].rows == [
        ["1", "cap; renewed, 'new'", "9.50"], ["2", "", "-1.00"], ["3", "a\\b", ""],
        ["4", "", "4.0"],
    ]  # fmt: skip
    assert sheets[0].source_rows.tolist() == [5, 6, 6, 7]


def test_backticks_and_backslashes(tmp_path: Path):
    (sheet,) = read(
        tmp_path,
        "/*!40101 SET NAMES utf8 */;\nCREATE TABLE `jobs` (\n `no` int, `text` varchar(9),\n"
        " PRIMARY KEY (`no`), KEY `k` (`text`)\n) ENGINE=x COMMENT='; INSERT INTO jobs';\n"
        "INSERT INTO `jobs` VALUES (1,'won\\'t start\\nat all'),(2,'');\n",
    )
    assert sheet.header == ("no", "text")
    assert sheet.rows == [["1", "won't start\nat all"], ["2", ""]]


def test_rows_of_copy(tmp_path: Path):
    (sheet,) = read(
        tmp_path, "COPY public.jobs (no, text) FROM stdin;\n1\ta\\tb\n2\t\\N\n\\.\n\nSET x = 1;\n"
    )
    assert sheet.name == "jobs"
    assert sheet.rows == [["1", "a\tb"], ["2", ""]]


@pytest.mark.parametrize(
    ("text", "row", "says"),
    [
        ("INSERT INTO jobs VALUES (1,'a'),\n(2,'b", 2, "quote"),
        ("INSERT INTO jobs VALUES (1,now());", 1, "computed"),
        ("COPY jobs (no) FROM stdin;\n1\n2\n", 4, "no end"),
        ("CREATE TABLE jobs (no int);\n", 0, "no rows"),
        ("CREATE TABLE jobs (no int);\nINSERT INTO jobs VALUES (1,2);\n", 2, "more values"),
    ],
)
def test_what_breaks_off_is_refused_with_its_row(tmp_path: Path, text: str, row: int, says: str):
    with pytest.raises(ExportError, match=says) as caught:
        read(tmp_path, text)
    assert caught.value.mend
    assert f"row {row}" in caught.value.where if row else "row" not in caught.value.where


def test_values_go_under_the_names_of_their_own_statement(tmp_path: Path):
    """A list in another order, one with more columns, one without any: none moves a value."""
    text = (
        "CREATE TABLE jobs (a text, b text);\n"
        "INSERT INTO jobs (b, a) VALUES ('b1', 'a1');\n"
        "INSERT INTO jobs VALUES ('a2', 'b2');\n"
        "INSERT INTO jobs (a, b, c) VALUES ('a3', 'b3', 'c3');\n"
    )
    (sheet,) = read(tmp_path, text)
    assert sheet.header == ("a", "b", "c")
    assert sheet.rows == [["a1", "b1", ""], ["a2", "b2", ""], ["a3", "b3", "c3"]]


def test_values_whose_order_nobody_tells_are_refused(tmp_path: Path):
    text = "INSERT INTO jobs (b, a) VALUES ('b1', 'a1');\nINSERT INTO jobs VALUES ('a2', 'b2');\n"
    with pytest.raises(ExportError, match="order of its columns"):
        read(tmp_path, text)
