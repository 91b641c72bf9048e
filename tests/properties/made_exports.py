"""Exports as a program might write them: good rows, odd cells, rows that are no records."""

import csv
import datetime as dt
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from dutylife.intake import Intake, read_exports
from dutylife.settings import settings_from

COLUMNS = {
    "ticket": "Job", "service_date": "Job date", "unit_id": "Machine", "customer": "Customer",
    "work_done": "Work", "part_number": "Part no", "description": "Text", "quantity": "Qty",
    "unit_price": "Each",
}  # fmt: skip
HEADER = list(COLUMNS.values())
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252")
# what starts a formula, markup, SQL or a template when a cell is taken for one
HOSTILE = (
    "=1+1", '=HYPERLINK("http://example.invalid","pay")', "+cmd|' /c calc'!A0", "-2+3+cmd|'/c'!A0",
    "@SUM(1+1)*2", "\t=1+1", "\r=1+1", " =1+1", "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>', "</td></table><h1>x", "javascript:alert(1)", "&lt;b&gt;",
    "'; DROP TABLE lines; --", '" OR ""="', "Robert'); DELETE FROM lines;--", "{{7*7}}",
    "{% raw %}", "${jndi:x}", "%s%n", "]]>", "<!--", "-->", "\u202etxt.exe",
)  # fmt: skip
_WORDS = (
    "plug cap renewed", "carb cleaned, jet 85", "air filter, blown out", "caf\u00e9 machine",
    "5\" hose", "O'Ring", 'says "won\'t start"', "a;b|c", "tab\there", "cap 9.9k ok",
    "\u00e4\u00f6\u00fc \u00df",
    "line one\nline two", "  spaces  ", "", "-", "n/a", "total loss", "0", "000123", "1E+05",
)  # fmt: skip


def cell_texts(encoding: str = "utf-8") -> st.SearchStrategy[str]:
    """Text a person or a program may have put into a cell."""
    free = st.text(st.characters(exclude_categories=("Cs", "Cc", "Co", "Cn")), max_size=12)
    texts = st.one_of(st.sampled_from(_WORDS), st.sampled_from(HOSTILE), free)
    # csv.writer leaves a lone carriage return bare: such a cell would be two rows of the file
    return texts.filter(lambda t: "\r" not in t and _is_sayable(t, encoding))


def _is_sayable(text: str, encoding: str) -> bool:
    try:
        return text.encode(encoding).decode(encoding) == text
    except UnicodeError:
        return False


@dataclass(slots=True)
class MadeExport:
    """An export as bytes, with what each of its rows is."""

    data: bytes
    kinds: list[str]  # one a record below the header: good, blank, total, header, bad date, long
    rows: list[list[str]] = field(default_factory=list)

    def count(self, *kinds: str) -> int:
        return sum(k in kinds for k in self.kinds)


def good_rows(encoding: str = "utf-8") -> st.SearchStrategy[list[str]]:
    """A record that stands alone: ticket, ISO date, machine and so on, texts odd."""
    texts = cell_texts(encoding)
    return st.tuples(
        st.integers(1, 60).map(lambda n: f"J{n}"),
        st.dates(dt.date(2021, 1, 1), dt.date(2024, 12, 31)).map(dt.date.isoformat),
        st.integers(1, 5).map(lambda n: f"TP-{n}"),
        st.sampled_from(("Kerb Crew", "Setts & Slabs", "Harbour, north")),
        texts,
        st.sampled_from(("", "IC-1", "SP-7", "000123", "10-44")),
        texts,
        st.integers(1, 9).map(str),
        st.decimals(0, 900, places=2).map(lambda d: f"{d:.2f}"),
    ).map(list)


@st.composite
def exports(draw: st.DrawFn) -> MadeExport:
    """A whole file: delimiter, quoting, line ends, encoding; good rows and what stands between."""
    encoding = draw(st.sampled_from(ENCODINGS))
    delimiter = draw(st.sampled_from((",", ";", "\t", "|")))
    quoting = draw(st.sampled_from((csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC)))
    line_end = draw(st.sampled_from(("\n", "\r\n")))
    rows = draw(st.lists(good_rows(encoding), min_size=3, max_size=25))
    records = [("good", r) for r in rows]
    blank = [""] * len(HEADER)
    others = {
        "blank": blank,
        "total": ["Total", *blank[:6], "12", "345.60"],
        "header": HEADER,
        "bad date": ["J77", "sometime", "TP-1", *blank[:6]],
        "long": [*rows[0], "one cell too many"],
    }
    for kind in draw(st.lists(st.sampled_from(sorted(others)), max_size=6)):
        records.insert(draw(st.integers(1, len(records))), (kind, others[kind]))
    file = io.StringIO()
    writer = csv.writer(file, delimiter=delimiter, quoting=quoting, lineterminator=line_end)
    writer.writerow(HEADER)
    writer.writerows(r for _, r in records)
    return MadeExport(file.getvalue().encode(encoding), [k for k, _ in records], rows)


def read_made(
    folder: Path, *files: bytes, columns: dict[str, str] | None = None, **export: Any
) -> Intake:
    """Read files of one layout."""
    for number, data in enumerate(files):
        (folder / f"lines{number}.csv").write_bytes(data)
    given = {"columns": columns or COLUMNS, **export}
    settings = settings_from(
        {
            "fleet": {"as_of": "2025-12-31"}, "duty": {"all": "kerb"},
            "exports": [{"path": f"lines{n}.csv", **given} for n in range(len(files))],
        },
        folder=folder,
    )  # fmt: skip
    return read_exports(settings)


def as_csv(rows: list[list[str]], header: list[str] | None = None) -> bytes:
    """Rows as a plain CSV in UTF-8."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(header or HEADER)
    writer.writerows(rows)
    return file.getvalue().encode()
