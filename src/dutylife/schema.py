"""Tables checked against the vocabulary: types set, every fault at once, rows in key order."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife.errors import TableError
from dutylife.vocabulary import TABLES, Column, Table

_DTYPES = {"word": "category", "text": "object", "number": "float64", "count": "int64"}
MANY = 200_000  # rows with one text for a key from where on they are put in order by its bytes
SHOWN = 20  # faults listed in a message; all of them are in the error's frame


def empty_table(name: str) -> pd.DataFrame:
    """Return the named table without rows, every column with its type."""
    return as_table(name, pd.DataFrame(columns=list(TABLES[name].columns)))


def as_table(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Bring a frame to the named table's columns, types and row order, then check it.

    Parameters
    ----------
    name : str
        Table of the vocabulary.
    frame : DataFrame
        Rows in any order; columns beyond the table's are dropped, missing ones are blank.

    Returns
    -------
    DataFrame
        Sorted by the table's key, with a fresh index.

    Raises
    ------
    TableError
        With every fault of every row in ``problems``.
    """
    table = TABLES[name]
    typed, problems = _coerce(table, _numbered(frame))
    by = [c for c in table.key if c in typed]
    order = typed[by].assign(
        **{c: _alphabetical(typed[c]) for c in by if typed[c].dtype == "category"}
    )
    in_order = _each_after_the_last(order)
    problems += _faults(table, typed, look_for_twice=not in_order)
    if problems:
        raise _table_error(table, pd.DataFrame(problems), len(frame))
    if in_order:
        return typed
    if len(by) == 1 and len(order) >= MANY and order[by[0]].dtype == "object":
        return typed.take(_places_of_texts(order[by[0]])).reset_index(drop=True)
    order = order.fillna("") if len(by) else order
    return typed.loc[order.sort_values(by, kind="stable").index].reset_index(drop=True)


def _places_of_texts(texts: pd.Series) -> Any:
    """Places of unlike texts in their order; bytes of UTF-8 stand in the order of the letters."""
    import pyarrow as pa  # slow to import
    import pyarrow.compute as pc

    coded = [text.encode("utf-8", "surrogatepass") for text in texts.tolist()]
    return pc.sort_indices(pa.array(coded, pa.large_binary())).to_numpy(zero_copy_only=False)


def _numbered(frame: pd.DataFrame) -> pd.DataFrame:
    """Frame with rows numbered from 0; as it stands where they are, a copy takes as much again."""
    index = frame.index
    if isinstance(index, pd.RangeIndex) and index.start == 0 and index.step == 1:
        return frame
    return frame.reset_index(drop=True)


def _each_after_the_last(order: pd.DataFrame) -> bool:
    """Whether each row's key is greater than the last one's: in order, and none there twice.

    Many tables come so, and telling it takes a small part of putting millions of rows in order.
    False where a key has missing parts: whoever sorts places those.
    """
    if not len(order):
        return True
    same = np.arange(len(order) - 1)  # rows whose keys were alike to the next one's so far
    for name in order.columns:
        column = order[name]
        if column.dtype != "object" and column.isna().any():
            return False
        values = column.to_numpy()
        here, after = values[same], values[same + 1]
        if bool((here > after).any()):
            return False
        same = same[here == after]
    return not len(same)


def _alphabetical(words: pd.Series) -> Any:
    """Place of each word in the alphabet of its categories, -1 where it is missing."""
    names = words.cat.categories.to_numpy(dtype=object)
    place = np.empty(len(names) + 1, dtype=np.int64)
    place[-1] = -1
    place[np.argsort(names, kind="stable")] = np.arange(len(names))
    return place[words.cat.codes.to_numpy()]


def spans_of_days(days: pd.Series) -> pd.Series:
    """Days as spans of time; where they are missing the span is, too.

    pandas 2 rounds memory it never filled where a number of days is missing: now and then that
    overflows, with a warning that stops a run of the tests and says nothing of the data.
    """
    return pd.to_timedelta(days.fillna(0.0), unit="D").mask(days.isna())


def days_at(keys: pd.Series, days: pd.Series) -> pd.Series:
    """Day of each key, missing where there is none.

    As ``keys.map(days)``, which pandas 3 refuses where there is no day at all.

    Parameters
    ----------
    keys : Series of words, shape (n,)
    days : Series of datetime, by key
    """
    found = days.reindex(pd.Index(keys.to_numpy(dtype=object))).to_numpy(dtype="datetime64[ns]")
    return pd.Series(found, index=keys.index)


def filled_from(words: pd.Series, other: pd.Series | str) -> pd.Series:
    """Words with the missing ones taken from ``other``; always of type object."""
    given = words.astype("object").to_numpy()
    rest = other if isinstance(other, str) else other.astype("object").to_numpy()
    return pd.Series(np.where(pd.isna(given), rest, given), index=words.index, dtype="object")


def check_table(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return every fault of a frame as rows of row, column, value, code, mend; empty when none."""
    typed, problems = _coerce(TABLES[name], frame.reset_index(drop=True))
    problems += _faults(TABLES[name], typed, look_for_twice=True)
    return pd.DataFrame(problems, columns=["row", "column", "value", "code", "mend"])


def _coerce(table: Table, frame: pd.DataFrame) -> tuple[pd.DataFrame, list[dict[str, Any]]]:
    out: dict[str, pd.Series] = {}
    problems: list[dict[str, Any]] = []
    for name, col in table.columns.items():
        given = frame[name] if name in frame else pd.Series([None] * len(frame), dtype="object")
        if given.dtype == "category" and col.kind != "word":
            given = given.astype("object")
        out[name], lost = _typed(col, given)
        for row in np.flatnonzero(lost.to_numpy()):
            problems.append(_problem(int(row), col, given.iloc[row], "unreadable"))
    # each column was made here: nothing of the caller's is shared
    return pd.DataFrame(out, index=frame.index, copy=False), problems


def _typed(col: Column, given: pd.Series) -> tuple[pd.Series, pd.Series]:
    """The series in its kind, and which of its filled cells could not be read."""
    blank = given.isna()
    if col.kind == "date":
        read = pd.to_datetime(given, errors="coerce").astype("datetime64[ns]")
        return read.dt.normalize(), read.isna() & ~blank
    if col.kind in ("number", "count"):
        number = pd.to_numeric(given, errors="coerce").astype("float64")
        lost = (number.isna() & ~blank) | np.isinf(number)
        if col.kind == "number":
            return number.mask(np.isinf(number)), lost
        return number.fillna(0).round().astype("int64"), lost | blank
    if col.kind == "flag":
        return given.astype("object").where(~blank, False).astype(bool), blank & False
    if col.kind == "text":
        if pd.api.types.infer_dtype(given, skipna=False) == "string":
            return given.astype("object"), blank
        return given.astype("object").where(~blank, "").astype(str).astype("object"), blank & False
    # each unlike value is looked at once
    codes, unlike = _unlike(given, blank)
    words = [str(v).strip() for v in unlike]
    categories = list(col.words or sorted(set(words) - {""}))
    place = np.append(pd.Index(categories, dtype="object").get_indexer(pd.Index(words)), -1)
    filled = np.append([w != "" for w in words], [False]).astype(bool)
    known = pd.Categorical.from_codes(place[codes], pd.Index(categories, dtype="object"))
    word = pd.Series(known, index=given.index)
    return word, word.isna() & filled[codes]


def _unlike(given: pd.Series, blank: pd.Series) -> tuple[Any, Any]:
    """Codes of the cells (-1: blank) and the unlike values they stand for."""
    if given.dtype != "category":
        return pd.factorize(given.astype("object").where(~blank))
    codes = given.cat.codes.to_numpy()
    used = np.flatnonzero(np.bincount(codes[codes >= 0], minlength=len(given.cat.categories)))
    # a category that no cell has is none of the words
    place = np.full(len(given.cat.categories) + 1, -1)
    place[used] = np.arange(len(used))
    return place[codes], given.cat.categories.to_numpy(dtype=object)[used]


def _faults(table: Table, typed: pd.DataFrame, *, look_for_twice: bool) -> list[dict[str, Any]]:
    problems: list[dict[str, Any]] = []
    for name, col in table.columns.items():
        values = typed[name]
        if name in table.filled:
            empty = (values == "") if col.kind == "text" else values.isna()
            problems += [_problem(int(r), col, None, "blank") for r in np.flatnonzero(empty)]
        if col.kind in ("number", "count"):
            low = -np.inf if col.at_least is None else col.at_least
            high = np.inf if col.at_most is None else col.at_most
            bad = values.notna() & ((values < low) | (values > high + 1e-12))
            problems += [
                _problem(int(r), col, values.iloc[r], "out of range") for r in np.flatnonzero(bad)
            ]
    key = list(table.key)
    if not look_for_twice:
        return problems
    twice = typed.duplicated(key, keep="first")
    keys = typed.loc[twice, key].itertuples(index=False)
    for row, parts in zip(np.flatnonzero(twice), keys, strict=True):
        value = "; ".join(str(v) for v in parts)
        problems.append(
            {"row": int(row), "column": ", ".join(key), "value": value, "code": "not unique",
             "mend": "the key must name one row"}
        )  # fmt: skip
    return problems


def _problem(row: int, col: Column, value: Any, code: str) -> dict[str, Any]:
    if code == "out of range":
        mend = f"must lie in {col.at_least} to {'any' if col.at_most is None else col.at_most}"
    elif code == "blank":
        mend = "must be filled"
    elif col.words:
        mend = "one of: " + ", ".join(col.words)
    else:
        mend = f"must be a {col.kind}"
    return {"row": row, "column": col.name, "value": value, "code": code, "mend": mend}


def _table_error(table: Table, problems: pd.DataFrame, n_rows: int) -> TableError:
    rows = problems["row"].nunique()
    lines = [
        f"row {p.row}: {p.column} = {p.value!r} is {p.code}; {p.mend}"
        for p in problems.head(SHOWN).itertuples()
    ]
    more = f" (+{len(problems) - SHOWN} more)" if len(problems) > SHOWN else ""
    return TableError(
        f"Table '{table.name}': {len(problems)} faults in {rows} of {n_rows} rows.",
        where="; ".join(lines) + more,
        mend="correct these rows where they were made",
        problems=problems,
    )


def joined_by(keys: pd.DataFrame | pd.Series, words: pd.Series) -> pd.Series:
    """Words of each key joined by ";", in their order: what a groupby does 20 times slower.

    Parameters
    ----------
    keys : DataFrame or Series
        Sorted so that rows of a key stand together; the result is indexed by them.
    words : Series of str, as long

    Examples
    --------
    >>> joined_by(pd.Series([3, 3, 5], name="job"), pd.Series(["b", "a", "c"])).to_dict()
    {3: 'b;a', 5: 'c'}
    """
    told = words.tolist()
    if isinstance(keys, pd.Series):
        first = ~keys.eq(keys.shift()) if len(keys) else keys.astype(bool)
        index = pd.Index(keys[first], name=keys.name)
    else:
        first = ~keys.eq(keys.shift()).all(axis=1) if len(keys) else keys.any(axis=1)
        index = pd.MultiIndex.from_frame(keys[first])
    starts = [*first.to_numpy().nonzero()[0].tolist(), len(told)]
    texts = [";".join(told[a:b]) for a, b in zip(starts, starts[1:], strict=False)]
    return pd.Series(texts, index=index, dtype="object", name=words.name)
