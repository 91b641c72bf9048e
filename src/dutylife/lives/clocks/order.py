"""Names as whole numbers, and rows put in order by whole numbers."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Codes = NDArray[np.int64]
Words = NDArray[np.object_]
_BITS = 63  # of a whole number without its sign


def codes_of(names: pd.Series) -> tuple[Codes, Words]:
    """Place of each name among the sorted unlike names; -1 where missing.

    Parameters
    ----------
    names : Series of words, shape (n,)
        A category or text; a category's words that no row has are left out.

    Returns
    -------
    codes : ndarray of int, shape (n,)
    words : ndarray of str, shape (k,)
    """
    if isinstance(names.dtype, pd.CategoricalDtype):
        found = names.cat.codes.to_numpy().astype(np.int64)
        unlike = names.cat.categories.to_numpy(dtype=object)
        used = np.bincount(found[found >= 0], minlength=len(unlike)) > 0
    else:
        found, unlike = pd.factorize(names.to_numpy(dtype=object))
        used = np.ones(len(unlike), dtype=bool)
    words = np.array([str(word) for word in unlike], dtype=object)
    order = np.argsort(words[used], kind="stable")
    place = np.full(len(words) + 1, -1, dtype=np.int64)  # the last is that of -1
    place[np.flatnonzero(used)[order]] = np.arange(len(order))
    return place[found], words[used][order]


def rows_in_order(*keys: NDArray[np.generic]) -> Codes:
    """Rows in order of whole numbers, the last key first; equal rows stay as they stood.

    Parameters
    ----------
    *keys : ndarray of whole numbers, shape (n,)
        The least important first, as in `numpy.lexsort`.

    Returns
    -------
    ndarray of int, shape (n,)

    Notes
    -----
    Keys and row number are packed into one whole number and sorted by value: several times as
    fast as a stable sort that gives places. Where they need more than 63 bits, `numpy.lexsort`.
    """
    n = len(keys[0])
    wide = [int(key.max()) - int(key.min()) + 1 if n else 1 for key in keys]
    row_bits = n.bit_length()
    if sum(w.bit_length() for w in wide) + row_bits > _BITS:
        return np.lexsort(keys)
    packed = np.zeros(n, dtype=np.int64)
    for key, width in zip(reversed(keys), reversed(wide), strict=True):
        packed = packed * width + (key - (key.min() if n else 0))
    packed = (packed << row_bits) | np.arange(n)
    packed.sort()
    return packed & ((1 << row_bits) - 1)
