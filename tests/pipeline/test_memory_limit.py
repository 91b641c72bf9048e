"""[compute] memory_limit: read as people write it, told before reading, and held."""

import os
import subprocess
import sys

import numpy as np
import pytest

from dutylife.errors import RunError, SettingsError
from dutylife.pipeline.memory import bounded_memory, needed_bytes
from dutylife.run_folder import quiet_base
from dutylife.settings import settings_from


def given(folder, limit, size_bytes=100):
    (folder / "lines.csv").write_text("a,b\n" + "1,2\n" * (size_bytes // 4), encoding="utf-8")
    return settings_from(
        {"exports": [{"path": "lines.csv"}], "compute": {"memory_limit": limit}}, folder=folder
    )


@pytest.mark.parametrize("size", ["8 gigs", "-1 GB", "8", "100 MB"])
def test_a_size_that_is_none_is_refused_with_its_key(size):
    with pytest.raises(SettingsError, match=r"compute\.memory_limit"):
        settings_from({"compute": {"memory_limit": size}})


def test_exports_too_large_for_the_limit_are_told_before_they_are_read(tmp_path):
    settings = given(tmp_path, "600 MB", size_bytes=200_000_000)
    assert needed_bytes(settings) > 600e6
    with pytest.raises(RunError, match="600 MB is allowed") as told, bounded_memory(settings):
        raise AssertionError("nothing may run")
    assert "memory_limit" in str(told.value)
    assert "one depot" in str(told.value)


@pytest.mark.parametrize(
    ("size_bytes", "peak_mib"), [(171_287_483, 2_320), (1_735_666_455, 16_451)]
)
def test_the_estimate_is_no_less_than_what_measured_runs_took(tmp_path, size_bytes, peak_mib):
    """Peaks of runs of 1 and 10 million lines, reports/sample/scale."""
    settings = given(tmp_path, "30 GB")
    os.truncate(tmp_path / "lines.csv", size_bytes)  # a file with holes: no disk is taken
    assert 0.99 * peak_mib < needed_bytes(settings) / 2**20 < 1.15 * peak_mib


def test_what_goes_beyond_the_limit_ends_in_a_message_and_the_limit_is_lifted_after(tmp_path):
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_DATA)
    with pytest.raises(RunError, match="more memory"), bounded_memory(given(tmp_path, "2 GiB")):
        np.ones(3 * 2**30 // 8)
    assert resource.getrlimit(resource.RLIMIT_DATA) == before
    assert np.ones(3 * 2**20).sum() == 3 * 2**20


def test_duckdb_is_given_a_quarter_of_it():
    with quiet_base("2 GiB") as base:
        assert base.execute("select current_setting('memory_limit')").fetchall() == [("512.0 MiB",)]


LET_GO = """
import numpy as np
from dutylife.pipeline.memory import give_back

def held():
    with open("/proc/self/status") as file:
        return next(int(row.split()[1]) for row in file if row.startswith("VmRSS"))

nothing = held()
many = [np.ones(400_000) for _ in range(200)]
kept = many[::10]
del many
before = held()
give_back()
print(before - nothing, held() - nothing)
"""

# the C library is told to keep what is let go: on some machines it gives arrays of this size back
# at once, and there would be nothing to see
KEEPING = {"MALLOC_MMAP_THRESHOLD_": "33554432", "MALLOC_TRIM_THRESHOLD_": "100000000000"}


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_memory_that_a_stage_let_go_goes_back_to_the_system():
    told = subprocess.run(
        [sys.executable, "-c", LET_GO], capture_output=True, text=True, check=True,
        env={**os.environ, **KEEPING},
    ).stdout  # fmt: skip
    before, after = map(int, told.split())
    if before < 400_000:  # KB; 640 MB were let go but for 64
        pytest.skip(f"this machine's C library keeps nothing ({before} KB held)")
    assert after < before / 2
