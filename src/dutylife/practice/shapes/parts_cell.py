"""One row a visit: one cell has all that was billed, "1 x AF-3301 air filter @ 12.50; ..."."""

import pandas as pd

from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.visits import FORM
from dutylife.practice.shapes.writing import delimited, tickets_and_lines


def piece(number: str, text: str, quantity: str, price: str) -> str:
    """Return one line as a piece of the cell.

    Examples
    --------
    >>> piece("AF-3301", "air filter", "1", "12.50")
    '1 x AF-3301 air filter @ 12.50'
    """
    named = " ".join(word for word in (number, text) if word)
    return (f"{quantity} x " if quantity else "") + named + (f" @ {price}" if price else "")


def one_cell_a_visit(table: pd.DataFrame) -> pd.DataFrame:
    """Return tickets under our names with their lines in the column "Billed"."""
    tickets, lines = tickets_and_lines(table)
    pieces = [
        piece(*row)
        for row in lines[["part_number", "description", "quantity", "unit_price"]].itertuples(
            index=False, name=None
        )
    ]
    cells = pd.Series(pieces, index=lines["ticket"]).groupby(level=0).agg("; ".join)
    return tickets.assign(Billed=tickets["ticket"].map(cells))


def _files(tables: Tables) -> dict[str, bytes]:
    out = {}
    for name, plain in tables.lines.items():
        cells = one_cell_a_visit(FORM.signed("lines", plain))
        table = cells[[*FORM.lines, "Billed"]].rename(
            columns={**FORM.lines, "Billed": "Parts and labour"}
        )
        out[f"{name.replace('lines', 'visits')}.csv"] = delimited(table, ",")
    out["machines.csv"] = delimited(FORM.written("machines", tables.machines), ",")
    out["parts.csv"] = delimited(FORM.written("parts", tables.parts), ",")
    return out


SHAPE = Shape(name="parts-cell", about="one row a visit, its lines in one cell", files=_files)
