"""No text from data runs as a formula, as markup or as SQL."""

import csv
import importlib.util
import io
import re
import sqlite3
import sys
import tempfile
import zipfile
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_exports import COLUMNS, HEADER, HOSTILE, cell_texts, good_rows

from dutylife import reports
from dutylife.coding.review import COLUMNS as REVIEW_COLUMNS
from dutylife.coding.review import review_csv
from dutylife.draft.duty import COLUMNS as DUTY_COLUMNS
from dutylife.draft.duty import as_csv
from dutylife.intake import read_exports
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.settings import settings_from

# what a spreadsheet takes for the start of a formula, also behind blanks
_FORMULA = re.compile(r"^[\s\u00a0]*[=+\-@\uff1d\uff0b\uff0d\uff20]|^[\t\r\n]")
# intake makes one blank of any run of blanks: no text in a table holds a line break
TYPED = sorted({" ".join(h.split()) for h in HOSTILE})
_PLAIN_NUMBER = re.compile(r"^-?\d+(?:\.\d+)?$")


def made_run() -> ModuleType:
    """A fresh copy of the invented run folder's maker."""
    path = Path(__file__).parents[1] / "reports" / "made_run.py"
    if str(path.parent) not in sys.path:  # it builds on its neighbour, also when run by itself
        sys.path.append(str(path.parent))
    spec = importlib.util.spec_from_file_location("made_run_copy", path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def running_cells(text: str) -> list[str]:
    """Cells of a CSV that a spreadsheet would run."""
    cells = [c for row in csv.reader(io.StringIO(text)) for c in row]
    return [c for c in cells if _FORMULA.match(c) and not _PLAIN_NUMBER.match(c)]


@pytest.mark.parametrize("cell", ["=1+1", "\t=1", " +1+cmd", "@SUM(1)", "-2+3"])
def test_a_planted_formula_is_seen(cell: str):
    file = io.StringIO()
    csv.writer(file).writerow(["fine", cell])
    assert running_cells(file.getvalue()) == [cell]


@given(st.lists(cell_texts(), min_size=1, max_size=6, unique=True))
def test_duty_csv(texts):
    table = pd.DataFrame([dict.fromkeys(DUTY_COLUMNS, t) for t in texts])
    assert running_cells(as_csv(table)) == []


@given(st.lists(cell_texts(), min_size=1, max_size=6))
def test_to_review_csv(texts):
    table = pd.DataFrame([dict.fromkeys(REVIEW_COLUMNS, t) for t in texts])
    assert running_cells(review_csv(table)) == []


def test_the_order_list_holds_no_formula_and_no_link(tmp_path: Path):
    maker = made_run()
    folder = maker.make_run(tmp_path / "run")
    plan = pd.read_csv(folder / "tables" / "stock_plan.csv", keep_default_na=False)
    texts = [TYPED[n % len(TYPED)] for n in range(len(plan))]
    for column in ("description", "supplier", "sentence"):
        plan[column] = texts
    plan["part_number"] = [f"{t} no. {n}" for n, t in enumerate(texts)]
    plan.to_csv(folder / "tables" / "stock_plan.csv", index=False)
    with zipfile.ZipFile(reports.write_order_list(folder)) as book:
        parts = {name: book.read(name).decode("utf-8", "replace") for name in book.namelist()}
    sheets = "".join(t for n, t in parts.items() if n.startswith("xl/worksheets/"))
    assert not re.search(r"<f[ >/]", sheets)
    assert "<hyperlink" not in sheets
    assert not any("externalLink" in n or "vba" in n.lower() for n in parts)


class Structure(HTMLParser):
    """Tags with the names of their attributes, and addresses pages point to."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: Counter[tuple[str, ...]] = Counter()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen[(tag, *sorted(name for name, _ in attrs))] += 1
        for name, value in attrs:
            if name in ("href", "src") and (value or "").strip().lower().startswith("javascript:"):
                self.seen["javascript address", value or ""] += 1


def structure_of(folder: Path) -> dict[str, Counter[tuple[str, ...]]]:
    out = {}
    for path in sorted(folder.glob("*.html")):
        parser = Structure()
        parser.feed(path.read_text(encoding="utf-8"))
        out[path.name] = parser.seen
    return out


def test_hostile_text_adds_no_tag_to_any_page(tmp_path: Path):
    """Pages of two runs that differ only in their texts have the same tags and attributes."""
    found = []
    for number, text in enumerate(("harmless", " ".join(TYPED))):
        maker = made_run()
        maker.BAD = maker.FORMULA = text
        folder = maker.make_run(tmp_path / f"run{number}")
        reports.write_pages(folder)
        found.append(structure_of(folder))
    assert list(found[0]) == ["evidence.html", "maintenance.html", "stock.html"]
    assert found[0] == found[1]


_NAMES = st.one_of(st.sampled_from(HOSTILE), st.text(min_size=1, max_size=10)).filter(
    lambda t: t.strip() and "\x00" not in t and not t.lower().startswith("sqlite_")
    and t.isprintable()
)  # fmt: skip


@given(_NAMES, st.lists(good_rows(), min_size=1, max_size=6), st.booleans())
def test_a_database_is_read_and_never_spoken_to_in_its_own_words(name, rows, by_address):
    """Hostile names of tables and texts of cells come out as they are; no table is touched."""
    quoted = '"' + name.replace('"', '""') + '"'
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        base = sqlite3.connect(folder / "shop.db")
        base.execute("CREATE TABLE kept (a TEXT)")
        base.execute("INSERT INTO kept VALUES ('still here')")
        columns = ", ".join(f'"{c}" TEXT' for c in HEADER)
        base.execute(f"CREATE TABLE {quoted} ({columns})")
        base.executemany(f"INSERT INTO {quoted} VALUES ({', '.join('?' * len(HEADER))})", rows)
        base.commit()
        before = "\n".join(base.iterdump())
        path = f"sqlite:///{folder / 'shop.db'}" if by_address else "shop.db"
        settings = settings_from(
            {
                "fleet": {"as_of": "2025-12-31"}, "duty": {"all": "kerb"},
                "exports": [{"path": path, "sheet": name, "columns": COLUMNS}],
            },
            folder=folder,
        )  # fmt: skip
        lines = read_exports(settings).tables["service_lines"].sort_values("source_row")
        assert "\n".join(base.iterdump()) == before
        base.close()
    assert sorted(lines["unit_id"].astype(str)) == sorted(r[2] for r in rows)
    typed = sorted(" ".join(r[4].split()) for r in rows)
    told = sorted("" if isinstance(t, float) else str(t) for t in lines["work_done"].astype(object))
    assert set(told) - {""} <= set(typed)


def test_tables_of_a_run_come_back_from_parquet_as_they_were(tmp_path: Path):
    """DuckDB writes the Parquet files: neither a text nor the folder's name is taken for SQL."""
    import duckdb

    folder = tmp_path / "it's; DROP TABLE"
    rows = [
        {"finding_id": f"{n:03d}", "stage": "intake", "kind": "note", "table": text, "key": text,
         "message": f"{text} {n}", "mend": text, "source_row": n}
        for n, text in enumerate(TYPED)
    ]  # fmt: skip
    table = as_table("findings", pd.DataFrame(rows))
    write_tables({"findings": table}, folder)
    with duckdb.connect() as base:
        back = base.read_parquet(str(folder / "findings.parquet")).df()
    for column in ("message", "mend"):
        assert back[column].tolist() == table[column].tolist()
