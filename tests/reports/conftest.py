"""The invented run folder, and the same with its pages, workbook and calendar written."""

import sys
from pathlib import Path

import pytest

from dutylife.provenance import Run, open_run

sys.path.insert(0, str(Path(__file__).parent))

import made_run  # noqa: E402


@pytest.fixture(scope="session")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A run folder with tables and run.json only."""
    return open_run(made_run.make_run(tmp_path_factory.mktemp("made") / "run"))


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run folder with everything reports write."""
    from dutylife import reports

    folder = made_run.make_run(tmp_path_factory.mktemp("written") / "run")
    reports.write_order_list(folder)
    reports.write_calendar(folder)
    reports.write_pages(folder)
    return folder
