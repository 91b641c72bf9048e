"""Tables of a handful of rows, so that each answer can be worked out by hand."""

import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from dutylife.lives import build_lives
from dutylife.schema import as_table
from dutylife.settings import settings_from

sys.path.insert(0, str(Path(__file__).parent))  # for plain_meter.py


def lines(*rows: tuple[Any, ...]) -> pd.DataFrame:
    """Rows of (unit, date) or (unit, date, meter)."""
    made = [
        {"line_id": f"L{i}", "source_file": "lines.csv", "source_row": i + 2, "ticket": f"T{i}",
         "unit_id": r[0], "service_date": r[1], "meter_hours": r[2] if len(r) > 2 else None,
         "line_kind": "labour"}
        for i, r in enumerate(rows)
    ]  # fmt: skip
    return as_table("service_lines", pd.DataFrame(made))


def events(*rows: dict[str, Any] | tuple[Any, ...]) -> pd.DataFrame:
    """Rows of (unit, component, date, activity, reason), or dictionaries with more."""
    names = ("unit_id", "component", "event_date", "activity", "reason")
    made = []
    for i, r in enumerate(rows):
        row = {"confidence": 1.0, "ticket": f"T{i}", "line_ids": f"L{i}"}
        made.append(row | (dict(zip(names, r, strict=True)) if isinstance(r, tuple) else r))
    return as_table("maintenance_events", pd.DataFrame(made))


def units(*rows: dict[str, Any]) -> pd.DataFrame:
    return as_table("units", pd.DataFrame([{"equipment_class": "pump"} | r for r in rows]))


def spans(*rows: tuple[Any, ...]) -> pd.DataFrame:
    """Rows of (unit, from, duty) or (unit, from, duty, customer)."""
    names = ("unit_id", "from_date", "duty", "customer")
    made = [dict(zip(names, r, strict=False)) for r in rows]
    return as_table("unit_spans", pd.DataFrame(made, columns=list(names)))


def build(
    line_rows: pd.DataFrame,
    event_rows: pd.DataFrame,
    unit_rows: pd.DataFrame,
    span_rows: pd.DataFrame | None = None,
    as_of: str = "2020-12-31",
    **more: Any,
) -> dict[str, pd.DataFrame]:
    """Lives with every unit in duty 'kerb' unless spans are given."""
    if span_rows is None:
        names = sorted({*unit_rows["unit_id"], *line_rows["unit_id"].dropna()})
        span_rows = spans(*[(u, "2020-01-01", "kerb", "C1") for u in names])
    settings = settings_from({"fleet": {"as_of": as_of} | more.pop("fleet", {}), **more})
    return build_lives(event_rows, line_rows, unit_rows, span_rows, settings)


@pytest.fixture
def made() -> SimpleNamespace:
    functions: dict[str, Callable[..., Any]] = {
        "lines": lines, "events": events, "units": units, "spans": spans, "build": build,
    }  # fmt: skip
    return SimpleNamespace(**functions)
