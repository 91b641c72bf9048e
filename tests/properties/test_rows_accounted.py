"""Rows in = rows used + rows set aside, whatever the export looks like."""

import tempfile
from pathlib import Path

from hypothesis import example, given
from made_exports import MadeExport, as_csv, exports, read_made

from dutylife.intake import account

ROW = ["J1", "2024-01-05", "TP-1", "Kerb Crew", "cap renewed", "IC-1", "plug cap", "1", "9.50"]
TOTAL = ["Total", "", "", "", "", "", "", "12", "345.60"]


@given(exports())
@example(MadeExport(as_csv([ROW, TOTAL, ROW]), ["good", "total", "good"]))
def test_every_row_is_used_or_set_aside(made: MadeExport):
    with tempfile.TemporaryDirectory() as folder:
        read = read_made(Path(folder), made.data)
    table = account(read)
    lines, aside = read.tables["service_lines"], read.tables["set_aside"]
    n_used, n_aside = int(table["n_used"].sum()), int(table["n_set_aside"].sum())
    assert n_used == len(lines)
    assert n_aside == len(aside)
    assert n_used + n_aside == len(made.kinds)
    assert n_used == made.count("good")
    rows = [*lines["source_row"], *aside["source_row"]]
    assert len(set(rows)) == len(rows), "a row of the file is one thing only"
    assert sorted(aside["reason"].astype(str).unique()) == sorted(
        {
            "blank": "blank row", "total": "totals row", "header": "header repeated",
            "bad date": "date can't be read", "long": "row has more cells than the header",
        }[k]
        for k in set(made.kinds) - {"good"}
    )  # fmt: skip


@given(exports())
def test_what_a_row_says_is_what_its_line_says(made: MadeExport):
    """Texts come through as typed, but for blanks; machine, day and money to the cent."""
    with tempfile.TemporaryDirectory() as folder:
        read = read_made(Path(folder), made.data)
    lines = read.tables["service_lines"].sort_values("source_row")
    nothing = {"", "-", "n/a", "null", "none", "nil", "na", "nan"}
    assert [str(u) for u in lines["unit_id"]] == [r[2] for r in made.rows]
    assert [f"{d:%Y-%m-%d}" for d in lines["service_date"]] == [r[1] for r in made.rows]
    assert [f"{p:.2f}" for p in lines["unit_price"]] == [r[8] for r in made.rows]
    for column, place in (("work_done", 4), ("description", 6)):
        told = ["" if isinstance(t, float) else str(t) for t in lines[column].astype(object)]
        typed = [" ".join(r[place].split()) for r in made.rows]
        unlike = [(a, b) for a, b in zip(told, typed, strict=True) if a != b]
        assert all(
            a == "" and (b.casefold() in nothing or not any(c.isalnum() for c in b))
            for a, b in unlike
        )
