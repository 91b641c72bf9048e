"""What a person should know of the clocks: meters that count something else, seasons of use."""

import calendar
from typing import Any

import numpy as np

from dutylife.intake.findings import finding, first_few
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.settings import Settings
from dutylife.wording import count

BUSY = 1.2  # of the mean month: a month that is named as busy


def clock_notes(paths: MeterPaths, settings: Settings) -> list[dict[str, Any]]:
    """Rows of the findings table about meters and seasons; a wrong meter column asks."""
    return [*_odd_meters(paths, settings), *_seasons(paths)]


def _odd_meters(paths: MeterPaths, settings: Settings) -> list[dict[str, Any]]:
    if not paths.odd:
        return []
    n, unit = len(paths.odd), settings.fleet.meter_unit
    each = first_few(
        f"{o.unit_id} ({o.per_day:.0f} a day"
        + (f", its like {o.usual:.1f}" if np.isfinite(o.usual) and o.usual < o.per_day else "")
        + f"; {o.rows})"
        for o in paths.odd
    )
    return [
        finding(
            "lives",
            "ask" if n > len(paths) else "note",
            f"The meter of {count(n, 'machine')} can't be one of {unit}: it rises faster than the "
            "clock, or ten times as fast as machines of its class. Its readings are not used, its "
            f"ages go by days and the use of machines like it: {each}.",
            mend="say what the meter counts: a unit in the cell or in [exports.columns] "
            "meter_hours; minutes and tenths have to be divided in the export",
            table="service_lines",
            key="meter_hours, another quantity",
        )
    ]


def _seasons(paths: MeterPaths) -> list[dict[str, Any]]:
    out = []
    for duty, shares in zip(paths.season.duties, paths.season.shares, strict=True):
        busy = [calendar.month_abbr[int(m) + 1] for m in np.flatnonzero(shares >= BUSY)]
        if busy:
            out.append(
                finding(
                    "lives",
                    "note",
                    f"Machines in duty '{duty}' run by the season: {shares.max():.1f} times the "
                    f"mean in the busiest month ({', '.join(busy)} are busy), {shares.min():.1f} "
                    "times in the quietest. Days between and beyond readings are weighted so.",
                    mend="nothing to do; a forecast for part of a year should think of it",
                    table="failure_events",
                    key=f"season, {duty}",
                )
            )
    return out
