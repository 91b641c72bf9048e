"""Prints every speed ratio beside its target: ``python tests/benchmarks/ratios.py [P16 P17 ...]``.

Ratios P1 to P19, the exactness the fast ways must keep, and how seconds grow with size, all in one
run. Nothing here passes or fails by time. ``--rows`` sets the size (1 million lines are the stated
one); ``--write FOLDER`` keeps the table and the growth curves there.
"""

import argparse
import os
import platform
import sys
from dataclasses import asdict
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "ARROW_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pandas as pd  # noqa: E402
from measuring import Benchmark, Figure, Growth, Row, Size  # noqa: E402

Kind = Benchmark | Growth | Figure


def all_benchmarks() -> dict[str, Kind]:
    """Every benchmark by its name, in the order of the targets; growth comes last."""
    import batch_speed
    import coding_speed
    import coming_year_speed
    import decisions_speed
    import demand_speed
    import exactness
    import lives_speed
    import models_speed
    import reading_speed
    import report_speed

    of: dict[str, Kind] = {}
    for module in (
        models_speed, batch_speed, demand_speed, decisions_speed, lives_speed, coding_speed,
        reading_speed, report_speed, exactness, coming_year_speed,
    ):  # fmt: skip
        of |= {b.name: b for b in module.BENCHMARKS}
    place = {name: i for i, name in enumerate(of)}
    return dict(sorted(of.items(), key=lambda b: _order(b[1], place[b[0]])))


def _order(benchmark: Kind, place: int) -> tuple[bool, int, int]:
    """Where a benchmark stands: growth last, else by the number of its target."""
    number = benchmark.name.split("-")[0].removeprefix("P")
    return isinstance(benchmark, Growth), int(number) if number.isdigit() else 99, place


def run(benchmarks: list[Kind], n_rows: int, n_repeats: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Measure and print; the table of ratios and the points of the growth curves."""
    rows: list[Row] = []
    points: list[Size] = []
    for benchmark in benchmarks:
        if isinstance(benchmark, Growth):
            new, sizes = benchmark.measured(n_rows, n_repeats)
            points += sizes
        elif isinstance(benchmark, Figure):
            new = [benchmark.row(n_rows)]
        else:
            new = []
            for row in benchmark.rows(n_rows, n_repeats):
                new.append(row)
        for row in new:
            print(row.line, flush=True)
        rows += new
    return pd.DataFrame(map(asdict, rows)), pd.DataFrame(map(asdict, points))


def main(arguments: list[str] | None = None) -> int:
    """Run the named benchmarks, or all."""
    every = all_benchmarks()
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(every))
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", type=Path, metavar="FOLDER")
    given = parser.parse_args(arguments)
    unknown = sorted(set(given.names) - set(every))
    if unknown:
        parser.error(f"unknown: {', '.join(unknown)}; there are {', '.join(every)}")
    asked = [every[name] for name in given.names or every]
    where = (
        f"{given.rows:,} rows, medians of {given.repeats} repeats in turn, {os.cpu_count()} "
        f"processors, load {os.getloadavg()[0]:.1f} at the start, Python "
        f"{platform.python_version()}"
    )
    print(where)
    ratios, growth = run(asked, given.rows, given.repeats)
    told = ratios["verdict"].value_counts()
    print(", ".join(f"{n} {verdict or 'without target'}" for verdict, n in told.items()))
    if given.write:
        from speed_page import write_speed

        print(f"written to {write_speed(given.write, ratios, growth, where)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
