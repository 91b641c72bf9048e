"""Which real parts are at hand; a missing one skips with its reason, or fails where required."""

import os
import shutil
import subprocess
import sys
import time
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
def demo_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which a person has run the demo once, by the command line.

    Test processes side by side share it: the first to ask makes it, the others wait. Nobody
    writes into it.
    """
    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    home, told = base / "demo-home", base / "demo-home.told"
    try:
        home.mkdir()
    except FileExistsError:
        last = time.monotonic() + 1800
        while not told.exists():
            assert time.monotonic() < last, f"nobody finishes {home}"
            time.sleep(0.5)
    else:
        done = subprocess.run(
            [sys.executable, "-m", "dutylife.cli", "demo"],
            cwd=home, capture_output=True, text=True, check=False,
        )  # fmt: skip
        writing = told.with_suffix(".new")
        writing.write_text(f"{done.returncode}\n{done.stdout}{done.stderr}", encoding="utf-8")
        writing.replace(told)
    code, _, text = told.read_text(encoding="utf-8").partition("\n")
    assert code == "0", text
    return home


@pytest.fixture(scope="session")
def demo_folder(demo_home: Path) -> Path:
    """The run folder of the demo."""
    (folder,) = (demo_home / "reports").glob("*/2025-12-31")
    return folder
