"""Tables to the bytes of a delimited text, and the rows of tickets and their lines."""

import csv
import io
from collections.abc import Sequence
from typing import Any

import pandas as pd

from dutylife.practice.shapes.form import (
    DATES,
    NUMBERS,
    OF_LINE,
    OF_TICKET,
    Form,
    day_of,
    our_names,
)
from dutylife.practice.shapes.shape import Tables


def delimited(
    table: pd.DataFrame, sign: str, *, encoding: str = "utf-8", line_end: str = "\n"
) -> bytes:
    """Return a table as delimited text with its header."""
    text = table.to_csv(index=False, lineterminator=line_end, sep=sign)
    return text.encode(encoding)


def rows_text(rows: Sequence[Sequence[str]], sign: str, line_end: str = "\r\n") -> str:
    """Return rows of any length as delimited text."""
    out = io.StringIO()
    csv.writer(out, delimiter=sign, lineterminator=line_end).writerows(rows)
    return out.getvalue()


def delimited_files(
    form: Form,
    tables: Tables,
    *,
    machines: str,
    parts: str,
    ending: str = ".csv",
    encoding: str = "utf-8",
    line_end: str = "\n",
    lines: dict[str, str] | None = None,
) -> dict[str, bytes]:
    """Return lines, machines and parts as delimited text in one form.

    Parameters
    ----------
    machines, parts : str
        Names of the files, without their ending.
    lines : dict, optional
        Our name of a lines file to the one it gets.
    """
    named = {(lines or {}).get(name, name): table for name, table in tables.lines.items()}
    written = {name: form.written("lines", table) for name, table in named.items()}
    written[machines] = form.written("machines", tables.machines)
    written[parts] = form.written("parts", tables.parts)
    return {
        name + ending: delimited(table, form.delimiter, encoding=encoding, line_end=line_end)
        for name, table in written.items()
    }


def typed(kind: str, plain: pd.DataFrame) -> pd.DataFrame:
    """Return a table of the plain form under our names: dates, ints and floats, None for blank."""
    out = our_names(kind, plain).astype("object")
    for name in out.columns:
        if name in DATES:
            values: list[Any] = [day_of(text) if text else None for text in out[name]]
        elif name in NUMBERS:
            values = [_figure(text) for text in out[name]]
        else:
            values = [text or None for text in out[name]]
        out[name] = pd.Series(values, index=out.index, dtype="object")
    return out


def _figure(text: str) -> int | float | None:
    if not text:
        return None
    number = float(text)
    return int(number) if number.is_integer() else number


def tickets_and_lines(table: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return one row a ticket, and every line with its ticket, of a table under our names."""
    tickets = table[list(OF_TICKET)].drop_duplicates("ticket").reset_index(drop=True)
    return tickets, table[["ticket", *OF_LINE]]


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a typed table as mappings that JSON can hold; dates in ISO form."""
    out: list[dict[str, Any]] = []
    for row in table.to_dict("records"):
        out.append(
            {
                str(name): value.isoformat() if hasattr(value, "isoformat") else value
                for name, value in row.items()
            }
        )
    return out
