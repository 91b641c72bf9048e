"""Columns of text as codes into their unlike cells: what holds of a cell is asked of each once.

A coded column is of type category, no cell missing. Readers and mapping keep text so; `on_unlike`
and `retold` are the two ways to ask or change, of any column of text.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def unlike_of(cells: pd.Series) -> tuple[NDArray[Any], NDArray[Any]]:
    """Codes of the cells and the unlike ones in order of appearance: ``unlike[codes]`` are all.

    Of a coded column only the codes are looked at.
    """
    if not isinstance(cells.dtype, pd.CategoricalDtype):
        codes, unlike = pd.factorize(cells, use_na_sentinel=False)
        return codes, np.asarray(unlike)
    codes, used = pd.factorize(cells.cat.codes.to_numpy())
    # words of tables may be missing, their code is -1: the last one here
    every = np.append(cells.cat.categories.to_numpy(dtype="object"), np.nan)
    return codes, every.take(used)


def on_unlike(cells: pd.Series, read: Callable[[pd.Series], pd.Series]) -> pd.Series:
    """Apply ``read`` to the unlike cells once and spread the answers over all rows.

    ``read`` sees them all together, in order of appearance.
    """
    codes, unlike = unlike_of(cells)
    answers = read(pd.Series(unlike, dtype="object"))
    return answers.take(codes).set_axis(cells.index)


def from_codes(
    codes: NDArray[Any], texts: Sequence[str] | NDArray[Any], index: pd.Index | None = None
) -> pd.Series:
    """Coded column of the ``texts`` at ``codes``; alike texts become one."""
    unlike = pd.Index(np.asarray(texts, dtype="object"))
    if not unlike.is_unique:
        places, unlike = pd.factorize(unlike)
        codes = places.take(codes)
    kind = pd.CategoricalDtype(unlike)
    return pd.Series(pd.Categorical.from_codes(codes, dtype=kind), index=index)  # type: ignore[arg-type]


def coded(cells: pd.Series) -> pd.Series:
    """Column of text as a coded one."""
    if isinstance(cells.dtype, pd.CategoricalDtype):
        return cells
    return from_codes(*unlike_of(cells), cells.index)


def no_text(cells: pd.Series) -> NDArray[np.bool_]:
    """Tell which cells are blank."""
    if isinstance(cells.dtype, pd.CategoricalDtype):
        return (cells == "").to_numpy()
    return np.asarray(cells.to_numpy() == "", dtype=bool)  # four times as quick as pandas


def retold(cells: pd.Series, change: Callable[[list[str]], list[str]]) -> pd.Series:
    """Cells with each unlike text changed once; a coded column stays coded."""
    if not isinstance(cells.dtype, pd.CategoricalDtype):
        return on_unlike(cells, lambda u: pd.Series(change(u.tolist()), dtype="object"))
    before = cells.cat.categories.tolist()
    after = change(before)
    return cells if after == before else from_codes(cells.cat.codes.to_numpy(), after, cells.index)
