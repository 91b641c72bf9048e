"""A whole run where there is no network at all: the same tables, pages and all."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))

from small_shop import write_shop  # noqa: E402

from dutylife.provenance import open_run  # noqa: E402

# in a network of its own, where only the machine's talk with itself is up: the notebooks' kernel
# needs that
_ALONE = """
import fcntl, socket, struct, sys
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
    fcntl.ioctl(s, 0x8914, struct.pack("16sh", b"lo", 0x1 | 0x40))
with socket.socket() as s:
    s.settimeout(2)
    try:
        s.connect(("192.0.2.1", 80))
        sys.exit("there is a network")
    except OSError:
        pass
from dutylife.cli import main
main(["run", sys.argv[1], "--out", sys.argv[2]])
"""


@pytest.mark.slow
def test_a_run_needs_and_asks_for_no_network(tmp_path: Path):
    able = subprocess.run(["unshare", "-rn", "true"], capture_output=True, check=False)
    if able.returncode != 0:
        pytest.skip("no network of one's own can be made here")
    settings = write_shop(tmp_path / "shop")
    done = subprocess.run(
        ["unshare", "-rn", sys.executable, "-c", _ALONE, str(settings), str(tmp_path / "run")],
        capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(Path(open_run.__code__.co_filename).parents[1])},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-800:] + done.stderr[-2000:]
    run = open_run(tmp_path / "run")
    assert len(run.table("stock_plan")) > 0
    for page in ("stock", "maintenance", "evidence"):
        text = (tmp_path / "run" / f"{page}.html").read_text(encoding="utf-8")
        assert "https://" not in text.replace("https://www.w3.org", "")
