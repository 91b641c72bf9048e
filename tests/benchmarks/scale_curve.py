"""How a run grows with its lines: ``python tests/benchmarks/scale_curve.py DIR [--lines N ...]``.

Makes an invented export of each size in DIR (kept for the next time), runs ``dutylife run`` on it
in a process of its own, and prints seconds, the multiple of a plain ``pandas.read_csv`` of the same
file, peak memory, and the exponent by which seconds grew since the size before (1: linear). Seconds
of the processor stand beside those of the clock, since the machine is never quiet. Nothing here
passes or fails by time.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from math import log
from pathlib import Path

import pandas as pd
from big_export import LINES_PER_MACHINE, make_big_export
from scale_page import write_scale

SIZES = (10_000, 100_000, 1_000_000, 10_000_000)
PLAIN = "import sys, pandas; pandas.read_csv(sys.argv[1])"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One size: what a run of it took."""

    lines: int
    seconds: float
    processor_seconds: float
    plain_processor_seconds: float
    peak_mb: float
    plain_peak_mb: float
    stages_seconds: dict[str, float]
    rows_in: int
    rows_used: int
    rows_set_aside: int

    @property
    def multiple(self) -> float:
        """Processor seconds of the run over those of a plain read of the file."""
        return self.processor_seconds / self.plain_processor_seconds


def measured(command: list[str]) -> tuple[float, float, float, int]:
    """Run a command; seconds by the clock, of the processor, peak memory [MB], exit code."""
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)  # noqa: S603
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - start
    return seconds, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, child.returncode


def measure(folder: Path, n_lines: int, seed: int, memory_limit: str) -> Point:
    """Make an export of a size, read it plainly, run it."""
    here = folder / str(n_lines)
    lines = make_big_export(here, n_lines, seed, keep=True)
    settings = here / "dutylife.toml"
    if memory_limit and "[compute]" not in settings.read_text(encoding="utf-8"):
        with settings.open("a", encoding="utf-8") as file:
            file.write(f'\n[compute]\nmemory_limit = "{memory_limit}"\n')
    _, plain, plain_peak, _ = measured([sys.executable, "-c", PLAIN, str(here / "lines.csv")])
    out = here / "out"
    seconds, used, peak, code = measured(
        [sys.executable, "-m", "dutylife", "run", str(settings), "--out", str(out)]
    )
    if code not in (0, 1):
        raise SystemExit(f"the run of {n_lines} lines ended with {code}")
    info = json.loads((out / "run.json").read_text(encoding="utf-8"))
    return Point(
        lines=lines, seconds=seconds, processor_seconds=used, plain_processor_seconds=plain,
        peak_mb=peak, plain_peak_mb=plain_peak, stages_seconds=info["stages_seconds"],
        rows_in=info["rows_in"], rows_used=info["rows_used"],
        rows_set_aside=info["rows_set_aside"],
    )  # fmt: skip


def show(points: list[Point]) -> None:
    """Print the curve, then the seconds of each stage by size."""
    print(f"{'lines':>10} {'machines':>9} {'clock s':>9} {'cpu s':>9} {'us/line':>8} "
          f"{'x read':>7} {'peak MB':>8} {'x read':>7} {'exponent':>9}")  # fmt: skip
    before: Point | None = None
    for p in points:
        grew = ""
        if before:
            times = p.processor_seconds / before.processor_seconds
            grew = f"{log(times) / log(p.lines / before.lines):9.2f}"
        print(
            f"{p.lines:10d} {p.lines // LINES_PER_MACHINE:9d} {p.seconds:9.1f} "
            f"{p.processor_seconds:9.1f} {1e6 * p.processor_seconds / p.lines:8.0f} "
            f"{p.multiple:7.1f} {p.peak_mb:8.0f} {p.peak_mb / p.plain_peak_mb:7.2f} {grew}"
        )
        if p.rows_in != p.rows_used + p.rows_set_aside:
            raise SystemExit("rows in are not rows used and rows set aside")
        before = p
    names = dict.fromkeys(name for p in points for name in p.stages_seconds)
    print("\nclock seconds by stage")
    for name in names:
        print(f"{name:26}", *(f"{p.stages_seconds.get(name, 0.0):10.1f}" for p in points))


def written(points: list[Point], folder: Path) -> None:
    """Keep table and figure in a folder."""
    table = pd.DataFrame(
        [
            {
                "lines": p.lines, "machines": p.lines // LINES_PER_MACHINE,
                "clock_seconds": p.seconds, "processor_seconds": p.processor_seconds,
                "plain_processor_seconds": p.plain_processor_seconds, "peak_mb": p.peak_mb,
                "plain_peak_mb": p.plain_peak_mb,
            }
            for p in points
        ]
    )  # fmt: skip
    names = dict.fromkeys(name for p in points for name in p.stages_seconds)
    stages = pd.DataFrame({"stage (clock)": list(names)})
    for p in points:
        stages[f"{p.lines} lines"] = [p.stages_seconds.get(name, float("nan")) for name in names]
    write_scale(folder, table, stages, f"{os.cpu_count()} cores, {where_measured()}")


def where_measured() -> str:
    """Return the load of the machine while this was measured."""
    return f"load of the last 15 minutes {os.getloadavg()[2]:.1f}"


def main() -> int:
    """Measure the sizes asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lines", type=int, nargs="+", default=SIZES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--memory-limit", default="")
    parser.add_argument("--write", type=Path, help="folder for table and figure")
    given = parser.parse_args()
    points = []
    for n_lines in given.lines:
        points.append(measure(given.folder, n_lines, given.seed, given.memory_limit))
        told = [asdict(p) for p in points]
        (given.folder / "scale_curve.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
        show(points)
    if given.write:
        written(points, given.write)
    return 0


if __name__ == "__main__":
    sys.exit(main())
