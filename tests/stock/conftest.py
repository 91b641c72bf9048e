"""The small fleet of the decisions' tests."""

import importlib.util
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for long_shelf.py
_FILE = Path(__file__).parents[1] / "decisions" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("small_fleet", _FILE)
small_fleet = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(small_fleet)


@pytest.fixture(scope="session")
def make():
    return small_fleet.make_fleet


@pytest.fixture(scope="session")
def fleet():
    return small_fleet.make_fleet()
