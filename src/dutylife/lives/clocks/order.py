"""Names as whole numbers and rows put in order by them, both in time that grows with the rows."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Codes = NDArray[np.int64]
Words = NDArray[np.object_]
_DIGIT = 16  # bits; a stable sort of so many is a radix sort in numpy


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
    A radix sort by 16 bits at a time, the least important first: each pass is a stable sort of
    small numbers, which grows with n and not with n log n.
    """
    order = np.arange(len(keys[0]))
    for key in keys:
        left = key.astype(np.int64) - (key.min() if len(key) else 0)
        while True:
            digit = (left & (2**_DIGIT - 1)).astype(np.uint16)
            order = order[np.argsort(digit[order], kind="stable")]
            left >>= _DIGIT
            if not left.any():
                break
    return order
