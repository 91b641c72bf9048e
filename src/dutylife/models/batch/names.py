"""Cells named by values or by several columns, as numbers in the order of the names."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Named = tuple[NDArray[np.intp], Any, NDArray[np.bool_]]


def codes_of_columns(frame: pd.DataFrame) -> Named:
    """Number of each row's cell, the cells, and rows with a blank name."""
    codes, n_codes = np.zeros(len(frame), dtype=np.int64), 1
    missing = np.zeros(len(frame), dtype=bool)
    names: list[tuple[NDArray[np.int64], Any]] = []
    for column in frame.columns:
        values = frame[column]
        if isinstance(values.dtype, pd.CategoricalDtype):
            own = values.cat.codes.to_numpy()
            seen: Any = pd.Categorical(values.cat.categories, dtype=values.dtype)
        else:
            own, seen = pd.factorize(values, sort=True)
        missing |= own < 0
        if missing.any():  # the caller refuses them
            return codes, pd.Index([]), missing
        codes = codes * len(seen) + own
        n_codes *= max(len(seen), 1)
        kept, codes = _present(codes, n_codes)
        names = [(at[kept // len(seen)], old) for at, old in names]
        names.append((kept % max(len(seen), 1), seen))
        n_codes = len(kept)
    arrays = [old[at] for at, old in names]
    if len(arrays) == 1:
        return codes, pd.Index(arrays[0], name=frame.columns[0]), missing
    return codes, pd.MultiIndex.from_arrays(arrays, names=list(frame.columns)), missing


def _present(codes: NDArray[np.int64], n_codes: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Codes that occur, in rising order, and the number of each row's among them."""
    if n_codes > 4 * len(codes) + 1000:
        number, kept = pd.factorize(codes, sort=True)
        return np.asarray(kept), number.astype(np.int64)
    there = np.bincount(codes, minlength=n_codes) > 0
    return np.flatnonzero(there).astype(np.int64), (np.cumsum(there) - 1)[codes]


def counts_of_one(cell: NDArray[Any]) -> tuple[NDArray[np.int64], Any] | None:
    """Rows of each cell and the cells, where those are numbers in rising order; else None.

    Then no table of those seen is needed.
    """
    if cell.dtype.kind not in "iu" or cell.ndim != 1 or not len(cell):
        return None
    firsts = np.flatnonzero(cell[1:] != cell[:-1])
    firsts += 1
    starts = np.concatenate([[0], firsts])
    cells = cell[starts]
    if not (cells[1:] > cells[:-1]).all():
        return None
    return np.diff(starts, append=len(cell)), cells


def codes_of_one(cell: NDArray[Any]) -> Named:
    """Do as `codes_of_columns` for cells named by one value each."""
    codes, cells = pd.factorize(pd.Series(cell), sort=True)
    return codes, cells, codes < 0


def order_of(codes: NDArray[np.intp], n_cells: int) -> NDArray[np.intp]:
    """Stable order of codes 0 to n_cells - 1, by digits of 16 bits: far quicker than by values."""
    low = np.argsort((codes & 0xFFFF).astype(np.uint16), kind="stable")
    if n_cells <= 0x10000:
        return low
    high = (codes >> 16)[low]
    rest = high.astype(np.uint16) if n_cells <= 2**32 else high
    return low[np.argsort(rest, kind="stable")]
