"""P14, P15: lives with hours of cleaned meters, against one sort of the lines and a loop."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial

import numpy as np
import pandas as pd
from measuring import Aim, Benchmark, Growth, Pair

from dutylife.lives.clocks.order import in_a_row
from dutylife.lives.meter import days_of, meter_paths

LINES_PER_UNIT, N_COMPONENTS, N_DAYS = 150, 60, 1826
SHARE_RENEWED = 0.57  # of the lines: the others only read the meter
SHARE_READ = 0.8  # of the lines that give the meter
# a slip in one of 5 000 readings: the time grows with the machines that have any (see DEVELOPERS)
SHARE_SLIPS = 0.0002
PLAIN_UNITS = 60
NOTHING_KNOWN = pd.DataFrame(
    {"in_service_on": pd.Series(dtype="M8[ns]"), "duty": None, "equipment_class": None}
)


def made_lines(n_rows: int, *, as_words: bool, share_slips: float = SHARE_SLIPS) -> pd.DataFrame:
    """Lines of a made-up fleet in no order: machine, component, day, meter, whether it renews."""
    rng = np.random.default_rng(14)
    n_units = max(n_rows // LINES_PER_UNIT, 1)
    unit, component = rng.integers(0, n_units, n_rows), rng.integers(0, N_COMPONENTS, n_rows)
    day = rng.integers(0, N_DAYS, n_rows)
    meter = np.floor(rng.uniform(0.5, 6.0, n_units)[unit] * day)
    slip = rng.random(n_rows) < share_slips
    meter[slip] = np.floor(meter[slip] / 10.0)
    meter[rng.random(n_rows) >= SHARE_READ] = np.nan
    names = np.array([f"U-{k:05}" for k in range(n_units)], dtype=object)
    parts = np.array([f"component {k:02}" for k in range(N_COMPONENTS)], dtype=object)
    out = pd.DataFrame(
        {
            "unit_id": pd.Categorical.from_codes(unit, names),
            "component": pd.Categorical.from_codes(component, parts),
            "service_date": pd.Timestamp("2015-01-01") + pd.to_timedelta(day, unit="D"),
            "meter_hours": meter,
            "renews": rng.random(n_rows) < SHARE_RENEWED,
        }
    )
    return out.astype({"unit_id": "object", "component": "object"}) if as_words else out


def lives_of(lines: pd.DataFrame) -> pd.DataFrame:
    """One life for each renewal: since the last one of its cell, in days and hours."""
    paths = meter_paths(lines, NOTHING_KNOWN, "hours")
    rows = np.flatnonzero(lines["renews"].to_numpy())
    unit, component, date = (
        lines[name].iloc[rows] for name in ("unit_id", "component", "service_date")
    )
    order, goes_on = in_a_row(unit, component, day=date)
    day = days_of(date)[order]
    found = paths.at(paths.of(unit)[order], day, np.zeros(len(day)))
    began, hours_then = np.append(np.nan, day[:-1]), np.append(np.nan, found.reading[:-1])
    return pd.DataFrame(
        {
            "row": rows[order],
            "exit_days": np.where(goes_on, day - began, np.nan),
            "exit_hours": np.where(goes_on, found.reading - hours_then, np.nan),
            "source": found.source,
        },
        copy=False,
    )


def lives_by_loop(lines: pd.DataFrame) -> list[tuple[object, float, float]]:
    """Do the same by groups and rows: running maximum of the meter, line to line between."""
    out = []
    for _, of_unit in lines.groupby("unit_id", observed=True):
        by_day = of_unit.sort_values("service_date", kind="stable")
        meter = by_day["meter_hours"].cummax().interpolate(limit_direction="both")
        by_day = by_day.assign(hours=meter)[by_day["renews"]]
        for _, cell in by_day.groupby("component", observed=True):
            before = None
            for row, line in cell.iterrows():
                if before is None:
                    out.append((row, np.nan, np.nan))
                else:
                    days = (line["service_date"] - before["service_date"]).days
                    out.append((row, float(days), line["hours"] - before["hours"]))
                before = line
    return out


def _against_a_sort(n_rows: int, *, as_words: bool) -> Iterable[Pair]:
    lines = made_lines(n_rows, as_words=as_words)
    key = _sort_key(n_rows)
    kind = "words" if as_words else "categories"
    yield Pair(
        f"{int(lines['renews'].sum())} lives with hours from the cleaned meters of {n_rows} lines "
        f"of {lines['unit_id'].nunique()} machines ({kind}) / one stable argsort of the lines",
        lambda: lives_of(lines),
        lambda: np.argsort(key, kind="stable"),
    )


def _sort_key(n_rows: int) -> np.ndarray:
    lines = made_lines(n_rows, as_words=False)
    day = lines["service_date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    unit = lines["unit_id"].cat.codes.to_numpy().astype(np.int64)
    component = lines["component"].cat.codes.to_numpy().astype(np.int64)
    return (unit * N_COMPONENTS + component) * 2**15 + day


def _against_a_loop(n_rows: int) -> Iterable[Pair]:
    lines = made_lines(n_rows, as_words=False)
    units = lines["unit_id"].cat.categories
    some = lines[lines["unit_id"].isin(units[:PLAIN_UNITS])]
    some = some.assign(unit_id=some["unit_id"].cat.remove_unused_categories())
    yield Pair(
        f"nested groupby and rows over {min(PLAIN_UNITS, len(units))} of {len(units)} machines and "
        f"taken for all / lives of {n_rows} lines",
        lambda: lives_of(lines),
        lambda: lives_by_loop(some),
        whole=len(units) / min(PLAIN_UNITS, len(units)),
    )


def _growth(n_rows: int) -> Iterator[tuple[int, Callable[[], object]]]:
    for n in (n_rows // 25, n_rows // 5, n_rows):
        yield n, partial(lives_of, made_lines(n, as_words=False))


BENCHMARKS = (
    Benchmark("P14", Aim(1.6), lambda n: _against_a_sort(n, as_words=False)),
    Benchmark("P14-words", Aim(2.2), lambda n: _against_a_sort(n, as_words=True)),
    Benchmark("P15", Aim(500, at_least=True), _against_a_loop),
    Growth("P14-growth", Aim(5.8), "lines", _growth),
)
