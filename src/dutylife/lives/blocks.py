"""Lives built by blocks of machines, wherever the work is done; the fleet decides what it must."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.lives.ages import AGES
from dutylife.lives.chain import Block, Fleet, lives_of
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.spread import spread

MACHINES_A_BLOCK = 2_000  # some 100 000 lines: seconds of work, and little to hold
YOUNG_SHARE = 0.25  # of the mean time between renewals: a first part is then taken for original
BOUNDS = ["lower_days", "upper_days", "lower_hours", "upper_hours"]


def blocks_of(
    machines: pd.DataFrame,
    events: pd.DataFrame,
    unit_spans: pd.DataFrame,
    evidence: pd.DataFrame,
    paths: MeterPaths,
    usage: pd.DataFrame,
) -> Iterator[Block]:
    """Machines with what belongs to them, in order of their names; at least one block.

    Parameters
    ----------
    machines : DataFrame
        As in `Watch`, sorted by unit_id; ``usage`` has a row for each, in the same order.
    events, unit_spans, evidence : DataFrame
        With a unit_id; rows of no machine among them are left out.
    """
    n = max(len(machines), 1)
    firsts = range(0, n, MACHINES_A_BLOCK)
    parted = [_parted(rows, machines.index, len(firsts)) for rows in (events, unit_spans, evidence)]
    for k, first in enumerate(firsts):
        rows = slice(first, first + MACHINES_A_BLOCK)
        some = machines.iloc[rows]
        of_block = [_light(table.iloc[places[k]]) for table, places in parted]
        yield Block(
            machines=some, events=of_block[0], spans=of_block[1], evidence=of_block[2],
            paths=paths.within(some.index[0], some.index[-1]) if len(some) else paths,
            usage=usage.iloc[rows],
        )  # fmt: skip


def _parted(
    table: pd.DataFrame, names: pd.Index, n_blocks: int
) -> tuple[pd.DataFrame, list[NDArray[np.intp]]]:
    """Table and the places of its rows by block; each block's in the order they stand in."""
    of_row = table["unit_id"]
    if isinstance(of_row.dtype, pd.CategoricalDtype):
        place = np.append(names.get_indexer(of_row.cat.categories), -1)[of_row.cat.codes]
    else:
        place = names.get_indexer(pd.Index(of_row.to_numpy(dtype=object)))
    block = np.where(place >= 0, place // MACHINES_A_BLOCK, n_blocks)
    order = np.argsort(block, kind="stable")
    ends = np.cumsum(np.bincount(block, minlength=n_blocks + 1))
    return table, np.split(order, ends[:-1])[:n_blocks]


def _light(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows whose categories are words of their own: those of a whole fleet weigh more than they."""
    words = rows.select_dtypes("category").columns
    return rows.astype(dict.fromkeys(words, "object")).reset_index(drop=True)


def lives_of_blocks(fleet: Fleet, blocks: Iterator[Block]) -> pd.DataFrame:
    """Lives of all machines, in order; ``[compute]`` says where each block is done."""
    done = list(spread(lives_of, fleet, blocks, fleet.settings.compute))
    watched = pd.concat([w for _, w in done], ignore_index=True)
    mean = _mean_days(watched)
    return pd.concat([without_doubtful(lives, mean) for lives, _ in done], ignore_index=True)


def _mean_days(watched: pd.DataFrame) -> pd.Series:
    """Mean days between renewals by component and duty; without a renewal all days watched."""
    sums = watched.groupby(["component", "duty"])[["days", "renewals"]].sum()
    return sums["days"] / sums["renewals"].clip(lower=1)


def without_doubtful(lives: pd.DataFrame, mean_days: pd.Series) -> pd.DataFrame:
    """Lives where a first part of an old machine has no known age.

    It is taken for the original one when the machine's age on the record's first day was at most
    `YOUNG_SHARE` of that component's mean time between renewals in that duty (time watched /
    renewals, at least 1); else its age is not known, and it has none on either clock.
    """
    doubted = lives["age_then"].notna().to_numpy()
    asked = lives.loc[doubted, ["component", "duty_at_end"]].astype("object")
    mean = mean_days.reindex(pd.MultiIndex.from_frame(asked)).to_numpy(float)
    old = np.flatnonzero(doubted)[~(lives["age_then"].to_numpy()[doubted] <= YOUNG_SHARE * mean)]
    out = lives.drop(columns=["age_then", "duty_at_end"])
    at = out.index[old]
    out.loc[at, "installed_on"] = pd.NaT
    out.loc[at, [a for a in AGES if a != "clock_source"] + BOUNDS] = np.nan
    out.loc[at, "clock_source"] = "unknown"
    return out
