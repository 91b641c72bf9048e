"""A standing fleet cut into blocks of machines: what happens to a machine is its own."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from dutylife.decisions.comparison.renewals import Away
from dutylife.decisions.comparison.standing import Standing, StandingCell

_BY_PART = (
    "age_days", "counted_days", "seen_days", "days_per_unit", "use_per_week", "looked_days", "keys"
)  # fmt: skip


def blocks_of(
    standing: Standing, away: Away | None, n_at_once: int
) -> Iterator[tuple[Standing, Away | None]]:
    """So many machines at a time with their parts, in their order; all at once where they fit.

    Parameters
    ----------
    standing : Standing
    away : Away or None
        ``phase`` by machine.
    n_at_once : int
    """
    n = standing.n_machines
    if n <= n_at_once:
        yield standing, away
        return
    for begin in range(0, n, n_at_once):
        end = min(begin + n_at_once, n)
        cells = [_cut(cell, begin, end) for cell in standing.cells]
        part = replace(
            standing,
            unit_id=standing.unit_id[begin:end], customer=standing.customer[begin:end],
            duty=standing.duty[begin:end], equipment_class=standing.equipment_class[begin:end],
            use_per_week=standing.use_per_week[begin:end], keys=standing.keys[begin:end],
            cells=tuple(c for c in cells if len(c.machine)),
        )  # fmt: skip
        yield part, None if away is None else replace(away, phase=away.phase[begin:end])


def _cut(cell: StandingCell, begin: int, end: int) -> StandingCell:
    """Parts of a cell in the machines of a block."""
    mine = np.flatnonzero((cell.machine >= begin) & (cell.machine < end))
    own = {name: getattr(cell, name)[mine] for name in _BY_PART}
    return replace(cell, machine=cell.machine[mine] - begin, **own)
