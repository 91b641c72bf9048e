"""How a ratio, a growth and a figure of exactness are measured, and the row each gives.

A ratio compares our way with a plain way over the same data in one process; the two are run in
turn and the median of the paired ratios is kept, since the machine is never quiet.
"""

import math
import os
import statistics
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

NO_R = "R not here"


@dataclass(frozen=True, slots=True)
class Aim:
    """A target: at most ``value``, or at least."""

    value: float
    at_least: bool = False

    def __str__(self) -> str:
        return f"{'>=' if self.at_least else '<='} {self.value:,.7g}"

    def met_by(self, ratio: float) -> str:
        """Return "met" or "not met"."""
        holds = ratio >= self.value if self.at_least else ratio <= self.value
        return "met" if holds else "not met"


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
class Row:
    """One row of the table: a figure beside its target.

    ``ratio`` is the median, ``lowest`` and ``highest`` the extremes of ``n_repeats``; seconds are
    medians; ``load`` is the machine's load of the last minute when the row was done.
    """

    id: str
    ratio: float
    target: str
    verdict: str
    said: str
    lowest: float = math.nan
    highest: float = math.nan
    n_repeats: int = 0
    ours_seconds: float = math.nan
    plain_seconds: float = math.nan
    load: float = math.nan

    @property
    def line(self) -> str:
        """The row as printed."""
        out = f"{self.id:<14} {_figure(self.ratio):>9}  {self.target:<12} {self.verdict:<10}"
        if self.n_repeats > 1:
            out += f" {_figure(self.lowest)} to {_figure(self.highest)} in {self.n_repeats};"
        if not math.isnan(self.ours_seconds):
            out += f" {_figure(self.ours_seconds)} s / {_figure(self.plain_seconds)} s;"
        return f"{out} {self.said}"


@dataclass(frozen=True, slots=True)
class Size:
    """One point of a growth curve: how long the job took at a size."""

    id: str
    unit: str
    size: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A ratio with its target; ``prepare`` makes the pairs for a number of rows.

    The ratio is ours over plain; where the target is "at least", plain over ours. What can't be
    measured here gives no pair, and ``absent`` says why.
    """

    name: str
    aim: Aim | None
    prepare: Callable[[int], Iterable[Pair]]
    absent: str = ""

    def rows(self, n_rows: int, n_repeats: int) -> Iterator[Row]:
        """Measure each pair."""
        found = False
        for pair in self.prepare(n_rows):
            found = True
            ours, plain = seconds_of((pair.ours, pair.plain), n_repeats)
            plain = [p * pair.whole for p in plain]
            ratios = [o / p for o, p in zip(ours, plain, strict=True)]
            if self.aim and self.aim.at_least:
                ratios = [1 / r for r in ratios]
            row = row_of(self.name, statistics.median(ratios), self.aim, pair.said)
            yield replace(
                row, lowest=min(ratios), highest=max(ratios), n_repeats=n_repeats,
                ours_seconds=statistics.median(ours), plain_seconds=statistics.median(plain),
            )  # fmt: skip
        if not found:
            yield Row(self.name, math.nan, str(self.aim), self.absent, "not measured")


@dataclass(frozen=True, slots=True)
class Growth:
    """How seconds grow with size; ``prepare`` makes the job at each size, smallest first.

    Each size is held against the one before it; ``aim`` says how much longer it may take.
    """

    name: str
    aim: Aim | None
    unit: str
    prepare: Callable[[int], Iterable[tuple[int, Callable[[], object]]]]

    def measured(self, n_rows: int, n_repeats: int) -> tuple[list[Row], list[Size]]:
        """Measure all sizes in turn: a row a step, a point a size."""
        sizes = list(self.prepare(n_rows))
        seconds = seconds_of([run for _, run in sizes], n_repeats)
        points = [
            Size(self.name, self.unit, size, statistics.median(own))
            for (size, _), own in zip(sizes, seconds, strict=True)
        ]
        rows = []
        for (few, many), (before, after) in zip(pairwise(points), pairwise(seconds), strict=True):
            ratios = [b / a for a, b in zip(before, after, strict=True)]
            said = f"{many.size:,} {self.unit} / {few.size:,}, {many.size / few.size:.3g} times"
            row = row_of(self.name, statistics.median(ratios), self.aim, said)
            rows.append(
                replace(
                    row,
                    lowest=min(ratios),
                    highest=max(ratios),
                    n_repeats=n_repeats,
                    ours_seconds=many.seconds,
                    plain_seconds=few.seconds,
                )  # fmt: skip
            )
        return rows, points


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that is no time: how exact a fast way is, how much memory it takes."""

    name: str
    aim: Aim
    measure: Callable[[int], tuple[float, str]]

    def row(self, n_rows: int) -> Row:
        """Measure it once."""
        value, said = self.measure(n_rows)
        return row_of(self.name, value, self.aim, said)


def row_of(name: str, value: float, aim: Aim | None, said: str) -> Row:
    """Return a row with its verdict."""
    verdict = aim.met_by(value) if aim else ""
    return Row(name, value, str(aim or "no target"), verdict, said, load=os.getloadavg()[0])


def seconds_of(ways: Iterable[Callable[[], object]], n_repeats: int) -> list[list[float]]:
    """Seconds of each way in each repeat; run in turn, forth and back, after one warming run."""
    ways = list(ways)
    for run in ways:
        run()
    out: list[list[float]] = [[] for _ in ways]
    for turn in range(n_repeats):
        order = list(zip(out, ways, strict=True))
        for seconds, run in order if turn % 2 else order[::-1]:
            start = time.perf_counter()
            run()
            seconds.append(time.perf_counter() - start)
    return out


def _figure(value: float) -> str:
    if math.isnan(value):
        return "-"
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
