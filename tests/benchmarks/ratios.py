"""Prints every speed ratio beside its target: ``python tests/benchmarks/ratios.py [P16 P17 ...]``.

A ratio compares our way with a plain way over the same data in one process; the two are run in
turn and the median of the paired ratios is shown, since the machine is never quiet. Nothing here
passes or fails by time. ``--rows`` sets the size (1 million lines are the stated one).
"""

import argparse
import os
import statistics
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "ARROW_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


@dataclass(frozen=True, slots=True)
class Pair:
    """Two ways to do one job: ours and a plain one.

    A plain way that takes hours is run on a part of the job only; ``whole`` is how many such
    parts the job has.
    """

    said: str
    ours: Callable[[], object]
    plain: Callable[[], object]
    whole: float = 1.0


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A ratio with its target; ``prepare`` makes the pairs for a number of rows."""

    name: str
    target: float | None
    prepare: Callable[[int], Iterable[Pair]]


def ratio_of(pair: Pair, n_repeats: int) -> tuple[float, list[float], list[float]]:
    """Median of paired ratios, and both lists of seconds; one run of each warms up."""
    pair.ours()
    pair.plain()
    ours: list[float] = []
    plain: list[float] = []
    for turn in range(n_repeats):
        order = ((ours, pair.ours), (plain, pair.plain))
        for seconds, run in order if turn % 2 else order[::-1]:
            start = time.perf_counter()
            run()
            seconds.append(time.perf_counter() - start)
    plain = [p * pair.whole for p in plain]
    return statistics.median(o / p for o, p in zip(ours, plain, strict=True)), ours, plain


def show(benchmark: Benchmark, n_rows: int, n_repeats: int) -> None:
    """Print the ratios of one benchmark."""
    for pair in benchmark.prepare(n_rows):
        ratio, ours, plain = ratio_of(pair, n_repeats)
        aim = "no target" if benchmark.target is None else f"target <= {benchmark.target:g}"
        print(
            f"{benchmark.name}  {ratio:#6.3g}  ({aim})  {pair.said}; "
            f"ours {statistics.median(ours):.2f} s, plain {statistics.median(plain):.2f} s, "
            f"ratios {min(o / p for o, p in zip(ours, plain, strict=True)):.3f} to "
            f"{max(o / p for o, p in zip(ours, plain, strict=True)):.3f} in {n_repeats} repeats",
            flush=True,
        )


def main(arguments: list[str] | None = None) -> int:
    """Run the named benchmarks, or all."""
    from coding_speed import BENCHMARKS as coding
    from coming_year_speed import BENCHMARKS as coming_year
    from decisions_speed import BENCHMARKS as decisions
    from demand_speed import BENCHMARKS as demand
    from lives_speed import BENCHMARKS as lives
    from models_speed import BENCHMARKS as models
    from reading_speed import BENCHMARKS as reading
    from report_speed import BENCHMARKS as report

    every = {
        b.name: b
        for b in (*coding, *reading, *lives, *models, *demand, *decisions, *coming_year, *report)
    }
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(every))
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=5)
    given = parser.parse_args(arguments)
    unknown = sorted(set(given.names) - set(every))
    if unknown:
        parser.error(f"unknown: {', '.join(unknown)}; there are {', '.join(every)}")
    for name in given.names or every:
        show(every[name], given.rows, given.repeats)
    return 0


if __name__ == "__main__":
    sys.exit(main())
