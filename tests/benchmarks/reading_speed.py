"""P17: an export loaded and brought to typed tables, against a plain pandas read of the file."""

import tempfile
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import pandas as pd
from made_lines import COLUMNS, many_lines
from ratios import Benchmark, Pair

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


def _against_pandas(said: str, read: Callable[[Settings], object], n_rows: int) -> Iterable[Pair]:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "lines.csv"
        many_lines(n_rows).to_csv(path, index=False)
        size = f"{n_rows} lines x {len(COLUMNS)} columns ({path.stat().st_size / 1e6:.0f} MB)"
        settings = settings_from(
            {
                "duty": {"all": "kerb"},
                "exports": [{"path": path.name, "date_order": "dmy", "columns": COLUMNS}],
            },
            folder=path.parent,
        )
        yield Pair(
            f"{said} {size} / pandas.read_csv",
            lambda: read(settings),
            lambda: pd.read_csv(path),
        )


BENCHMARKS = (
    Benchmark("P17", 2.5, partial(_against_pandas, "load + normalise", typed_lines)),
    # no target is set for it: returns netted, machines and their spans, findings too
    Benchmark("P17-whole", None, partial(_against_pandas, "whole intake of", read_exports)),
)
