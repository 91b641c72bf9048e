"""Which real parts are at hand; a missing one skips with its reason, or fails where required."""

import os
import shutil
import sys
from pathlib import Path

import pytest

REQUIRED = {w for w in os.environ.get("DUTYLIFE_REQUIRE", "").split(",") if w}
ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(Path(__file__).parent))  # for published_checks.py


def shared_folder() -> Path:
    """Folder of real data and references."""
    return Path(os.environ.get("DUTYLIFE_SHARED", ROOT.parent / "shared"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    missing = {
        "shared": None if (shared_folder() / "data").is_dir()
        else f"no real data at {shared_folder()} (set DUTYLIFE_SHARED)",
        "database": None if os.environ.get("DUTYLIFE_DATABASE")
        else "no database server is named (DUTYLIFE_DATABASE; .ci/database starts one)",
        "browser": None if shutil.which("chromium") else "no chromium on this machine",
    }  # fmt: skip
    for part, why in missing.items():
        if why and item.get_closest_marker(part):
            if part in REQUIRED:
                pytest.fail(f"{part} is required (DUTYLIFE_REQUIRE): {why}", pytrace=False)
            pytest.skip(why)


@pytest.fixture(scope="session")
def shared() -> Path:
    """Folder of real data and references; the test must be marked ``shared``."""
    return shared_folder()


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One run of the demo through the command line, as a person would start it."""
    import subprocess
    import sys

    folder = tmp_path_factory.mktemp("demo") / "run"
    done = subprocess.run(
        [sys.executable, "-m", "dutylife.cli", "demo", "--out", str(folder)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return folder
