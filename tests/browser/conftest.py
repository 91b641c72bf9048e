"""Pages of the demo run and of a run full of hostile text, and a browser to look at them."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "reports")]

import devtools  # noqa: E402
import made_run  # noqa: E402


@pytest.fixture(scope="session")
def browser() -> Iterator[devtools.Browser]:
    with devtools.Browser() as opened:
        yield opened


@pytest.fixture(scope="session")
def hostile_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run whose every free text tries to break out of the page."""
    from dutylife import reports

    folder = made_run.make_run(tmp_path_factory.mktemp("hostile") / "run")
    reports.write_pages(folder)
    return folder
