"""Writes small exports into a temporary folder and reads them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dutylife.intake import Intake, read_exports
from dutylife.settings import settings_from

COLUMNS = {
    "ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
    "part_number": "PN", "description": "Text", "quantity": "Qty", "unit_price": "Each",
}  # fmt: skip
HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"


@pytest.fixture
def intake(tmp_path: Path) -> Callable[..., Intake]:
    """Read lines given as text; further files and settings by keyword."""

    def read(
        lines: str | bytes,
        *,
        export: dict[str, Any] | None = None,
        files: dict[str, str] | None = None,
        exports: list[dict[str, Any]] | None = None,
        **settings: Any,
    ) -> Intake:
        data = lines if isinstance(lines, bytes) else lines.encode()
        (tmp_path / "lines.csv").write_bytes(data)
        for name, text in (files or {}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        first = {"path": "lines.csv", "columns": COLUMNS} | (export or {})
        given = {"exports": [first, *(exports or [])], **settings}
        return read_exports(settings_from(given, folder=tmp_path, source="run.toml"))

    return read
