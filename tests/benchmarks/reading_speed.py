"""P17: an export loaded and brought to typed tables, against a plain pandas read of the file."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from pathlib import Path

import pandas as pd
from made_lines import COLUMNS, many_lines
from measuring import Aim, Benchmark, Figure, Growth, Pair

from dutylife.intake import exports, read_exports
from dutylife.intake.columns import map_columns
from dutylife.intake.lines import read_lines
from dutylife.intake.settle import settled_exports
from dutylife.settings import Settings, settings_from


def typed_lines(settings: Settings) -> pd.DataFrame:
    """Read one export and bring its columns to dates, numbers and words, as `read_exports` does."""
    keys, raws = exports._read_all(settings)
    settled = settled_exports(list(settings.exports), raws, keys, settings.source)
    return read_lines(map_columns(raws[0], settled[0], "lines.csv", keys[0]), settings)


_held: list[tempfile.TemporaryDirectory[str]] = []


@cache
def export_of(n_rows: int) -> tuple[Path, Settings]:
    """An export of so many lines, kept to the end, and settings that read it."""
    _held.append(tempfile.TemporaryDirectory())
    path = Path(_held[-1].name) / "lines.csv"
    many_lines(n_rows).to_csv(path, index=False)
    return path, settings_of(path)


def settings_of(path: Path) -> Settings:
    export = {"path": path.name, "date_order": "dmy", "columns": COLUMNS}
    return settings_from({"duty": {"all": "kerb"}, "exports": [export]}, folder=path.parent)


def _against_pandas(said: str, read: Callable[[Settings], object], n_rows: int) -> Iterable[Pair]:
    path, settings = export_of(n_rows)
    size = f"{n_rows} lines x {len(COLUMNS)} columns ({path.stat().st_size / 1e6:.0f} MB)"
    yield Pair(
        f"{said} {size} / pandas.read_csv", lambda: read(settings), lambda: pd.read_csv(path)
    )


def _growth(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    for n in (n_rows // 25, n_rows // 5, n_rows):
        yield n, partial(typed_lines, export_of(n)[1])


# not ru_maxrss: a process begins with that of the one that started it, which may hold far more
PEAK = """
import re, sys
from pathlib import Path
from reading_speed import settings_of, typed_lines
for path in sys.argv[1:]:
    typed_lines(settings_of(Path(path)))
    print(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])
"""


def _peak(n_rows: int) -> tuple[float, str]:
    """Most memory a process of its own held beyond its libraries, over the size of the file."""
    path = export_of(n_rows)[0]
    folders = [str(Path(__file__).parent), *filter(None, sys.path)]
    told = subprocess.run(
        [sys.executable, "-c", PEAK, export_of(100)[0], path], check=True, capture_output=True,
        text=True, env=os.environ | {"PYTHONPATH": os.pathsep.join(folders)},
    )  # fmt: skip
    before, after = map(int, told.stdout.split())
    held, size = (after - before) * 1024, path.stat().st_size
    return held / size, f"{held / 1e6:.0f} MB at most beyond the libraries / {size / 1e6:.0f} MB"


BENCHMARKS = (
    Benchmark("P17", Aim(2.5), partial(_against_pandas, "load + normalise", typed_lines)),
    # no target is set for it: returns netted, machines and their spans, findings too
    Benchmark("P17-whole", None, partial(_against_pandas, "whole intake of", read_exports)),
    Figure("P17-memory", Aim(3.0), _peak),
    Growth("P17-growth", None, "lines", _growth),
)
