"""Service lines written by hand, coded."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.schema import as_table
from dutylife.settings import settings_from


@pytest.fixture
def code() -> Callable[..., dict[str, pd.DataFrame]]:
    """Code lines given as dictionaries; what a line leaves out gets a plain default."""

    def run(
        *lines: dict[str, Any],
        shelf: list[dict[str, Any]] | None = None,
        units: list[dict[str, Any]] | None = None,
        **coding: Any,
    ) -> dict[str, pd.DataFrame]:
        rows = [
            {
                "line_id": f"L{n}", "source_file": "lines.csv", "source_row": n + 2,
                "ticket": "J1", "unit_id": "U1", "service_date": "2024-03-01",
                "line_kind": "part" if "part_number" in line else "labour", "quantity": 1.0,
            } | line
            for n, line in enumerate(lines)
        ]  # fmt: skip
        settings = settings_from({"coding": coding, "fleet": {"as_of": "2024-12-31"}})
        return code_lines(
            as_table("service_lines", pd.DataFrame(rows)),
            as_table("units", pd.DataFrame(units or [{"unit_id": "U1"}])),
            as_table("shelf", pd.DataFrame(shelf or [])),
            settings,
        )

    return run


@pytest.fixture
def events_of() -> Callable[[dict[str, pd.DataFrame]], dict[str, tuple[str, str, str]]]:
    """Activity, reason, finding of each component; one event each."""
    return _events_of


def _events_of(coded: dict[str, pd.DataFrame]) -> dict[str, tuple[str, str, str]]:
    """Activity, reason, finding of each component; one event each."""
    events = coded["maintenance_events"]
    assert not events["component"].duplicated().any()
    return {
        e.component: (str(e.activity), str(e.reason), str(e.finding)) for e in events.itertuples()
    }
