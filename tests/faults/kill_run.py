"""Kill runs with -9 at random moments; after each, look whether anything is half there.

    python tests/faults/kill_run.py --kills 50 --seed 1
    python tests/faults/kill_run.py --kills 50 --workers

The exports change between runs, so that the run before and the new one are told apart. What is
computed and never written in between (laws, decisions, stock) is taken from the first run of the
same exports, and the three pages a kernel makes are stood in for by small ones, so that most kills
fall where files are written; --whole computes and draws all of it anew each time, --workers does so
too, its work spread over a scheduler with two worker processes, of which every second time one is
killed as well. Prints a line a
kill and the sums; exit 1 where an output was half written or a kept month was not whole.
"""

import argparse
import hashlib
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from small_shop import FLEET, write_shop  # noqa: E402

from dutylife.history import months_kept  # noqa: E402
from dutylife.pipeline import job, run  # noqa: E402
from dutylife.provenance import open_run  # noqa: E402


def digests(folder: Path) -> dict[str, str]:
    """Digest of each file below a folder."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*")) if p.is_file()
    }  # fmt: skip


def tables_of(files: dict[str, str]) -> dict[str, str]:
    """The tables among them: the same bytes whenever the same run is made again."""
    return {name: d for name, d in files.items() if name.endswith((".csv", ".parquet"))}


def take_what_was_computed() -> None:
    """Compute once for each export; the pages of the kernel are stood in for."""
    known: dict[tuple[str, int], tuple[Any, Any]] = {}
    stages, switched = job.all_stages, job.sensitivity

    def all_stages(settings: Any, work: Any, scores: Any, **more: Any) -> None:
        key = ("stages", len(work.tables["service_lines"]))
        if key not in known:
            n_found = len(work.findings)
            stages(settings, work, scores, **more)
            known[key] = dict(work.tables), work.findings[n_found:]
            return
        work.tables |= known[key][0] | {"forecast_scores": work.tables["forecast_scores"]}
        work.findings += known[key][1]

    def sensitivity(tables: Any, settings: Any) -> Any:
        key = ("switched", len(tables["service_lines"]))
        if key not in known:
            known[key] = switched(tables, settings), None
        return known[key][0]

    def pages(folder: Path, progress: Any, failed: Any = None) -> None:
        for name in ("stock", "maintenance", "evidence"):
            progress(f"page {name}")
            (folder / f"{name}.html").write_text("<p>page</p>" * 20_000, encoding="utf-8")

    job.all_stages, job.sensitivity, job.reports.write_pages = all_stages, sensitivity, pages


class Killer:
    """A shop, its run folder, what whole runs of it look like, and runs that are killed."""

    def __init__(self, folder: Path, cluster: Any = None) -> None:
        self.shop, self.out = folder / "shop", folder / "out" / "run"
        self.cluster = cluster
        self.whole: dict[int, dict[str, str]] = {}
        self.took = 0.0
        for n_lines in (60, 54):
            for _ in range(2):  # the second time with what the first one computed
                started = time.monotonic()
                run(self.settings(n_lines), out=self.out)
                self.took = time.monotonic() - started
            self.whole[n_lines] = tables_of(digests(self.out))
        assert self.whole[60] != self.whole[54]

    def settings(self, n_lines: int) -> Path:
        """Settings of a shop whose export has so many lines."""
        path = write_shop(self.shop, n_lines)
        if self.cluster is not None:
            address = f'\n[compute]\nscheduler = "{self.cluster.scheduler_address}"\n'
            path.write_text(path.read_text(encoding="utf-8") + address, encoding="utf-8")
        return path

    def kill_a_worker(self, rng: random.Random) -> None:
        """Kill one worker process; its nanny starts another."""
        while not self.cluster.workers:  # the one killed before is not back yet
            time.sleep(0.1)
        nanny = rng.choice(list(self.cluster.workers.values()))
        if nanny.pid is not None:
            os.kill(nanny.pid, signal.SIGKILL)

    def forked(self, n_lines: int, seconds: float | None) -> int:
        """Run in a process of its own; killed after some seconds. Exit code, negative if killed."""
        settings = self.settings(n_lines)
        child = os.fork()
        if child == 0:
            os.setsid()  # what it starts dies with it
            code = 1
            try:
                run(settings, out=self.out)
                code = 0
            except BaseException as error:
                print(f"    {type(error).__name__}: {error}", flush=True)
            finally:
                os._exit(code)
        if seconds is not None:
            until = time.monotonic() + seconds
            while time.monotonic() < until and os.waitpid(child, os.WNOHANG) == (0, 0):
                time.sleep(0.002)
            try:
                os.kill(child, signal.SIGKILL)
                os.killpg(child, signal.SIGKILL)
            except ProcessLookupError:
                return 0  # it had ended before
        try:
            return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        except ChildProcessError:
            return 0

    def state(self, before: dict[str, str], n_lines: int) -> str:
        """What a kill left: the run before, the new one, or something half there."""
        now = digests(self.out)
        if now == before:
            return "the run before, untouched"
        if tables_of(now) == self.whole[n_lines] and set(now) >= {"run.json", "stock.html"}:
            open_run(self.out).table("stock_plan")
            return "the new run, whole"
        return "HALF WRITTEN"

    def history(self) -> str:
        """Whether every kept month comes back with the digests it was kept with."""
        try:
            for month in months_kept(self.out.parent / "history", FLEET):
                month.inputs()
                month.given()
        except Exception as error:
            return f"CORRUPTED: {error}"
        return "whole"


def main() -> int:
    """Kill, look, count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--workers", action="store_true")
    given = parser.parse_args()
    if not given.whole and not given.workers:
        take_what_was_computed()
    with tempfile.TemporaryDirectory() as folder, cluster_of(given.workers) as cluster:
        return kills(Killer(Path(folder), cluster), given.kills, random.Random(given.seed))


@contextmanager
def cluster_of(wanted: bool) -> Iterator[Any]:
    """A scheduler with two worker processes on this machine, or none."""
    if not wanted:
        yield None
        return
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as made:
        yield made


def kills(killer: Killer, n_kills: int, rng: random.Random) -> int:
    """Kill so many runs; prints, and returns the exit code."""
    seen: Counter[str] = Counter()
    print(f"a whole run takes {killer.took:.1f} s", flush=True)
    n_lines = 54
    for number in range(1, n_kills + 1):
        n_lines = 114 - n_lines
        before, at = digests(killer.out), rng.uniform(0, killer.took)
        if killer.cluster is not None and number % 2 == 0:
            killer.kill_a_worker(rng)
        code = killer.forked(n_lines, at)
        left, kept = killer.state(before, n_lines), killer.history()
        seen[left] += 1
        seen[f"history {kept}"] += 1
        seen["killed" if code < 0 else "had ended" if code == 0 else "RUN FAILED"] += 1
        print(f"{number:3} at {at:5.1f} s: {left}; history {kept}", flush=True)
        if number % 10 == 0:
            started = time.monotonic()
            code = killer.forked(n_lines, None)
            killer.took = time.monotonic() - started  # the machine may be busier than before
            fine = code == 0 and tables_of(digests(killer.out)) == killer.whole[n_lines]
            seen["next runs that succeed" if fine else "NEXT RUN FAILED"] += 1
    litter = sorted(p.name for p in killer.out.parent.iterdir())
    for what, n in sorted(seen.items()):
        print(f"  {what:40} {n}")
    print(f"  beside the run in the end: {', '.join(litter)}")
    return 1 if any(what.split(":")[0].isupper() or "CORRUPTED" in what for what in seen) else 0


if __name__ == "__main__":
    sys.exit(main())
