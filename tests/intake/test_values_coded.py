"""Coded columns: whatever is asked of unlike cells once gives what each cell alone would give."""

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from dutylife.intake.names import squeezed
from dutylife.intake.values import blanked, coded, on_unlike, read_dates, retold, unlike_of
from dutylife.provenance import digest_of, numbers_of

# readers leave zero bytes out; for pandas a text ends there
TEXT = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=6)
SOME = ["", "a", "A ", "n/a", "N/A", "?", "--", "0", "00.00.0000", "45321", "ß"]
CELLS = st.lists(st.sampled_from(SOME) | TEXT, max_size=12)


def plain(cells: list[str]) -> pd.Series:
    return pd.Series(cells, dtype="object", index=range(5, 5 + len(cells)))


@given(CELLS)
def test_codes_and_unlike_cells_give_the_cells_back(cells: list[str]):
    column = coded(plain(cells))
    assert column.astype("object").tolist() == cells
    assert column.index.tolist() == plain(cells).index.tolist()
    codes, unlike = unlike_of(column)
    assert unlike[codes].tolist() == cells
    assert unlike.tolist() == list(dict.fromkeys(cells))


@given(CELLS)
def test_a_coded_column_answers_as_a_plain_one(cells: list[str]):
    column, known = coded(plain(cells)), plain(cells)
    for change in (str.upper, lambda text: text[:1]):  # the second makes unlike texts alike
        told = retold(column, lambda texts, change=change: [change(t) for t in texts])
        assert isinstance(told.dtype, pd.CategoricalDtype)
        assert told.astype("object").tolist() == [change(c) for c in cells]
        assert told.cat.categories.is_unique
    pd.testing.assert_series_equal(blanked(column).astype("object"), blanked(known))
    n_letters = on_unlike(column, lambda u: u.map(len).astype("int64"))
    assert n_letters.tolist() == [len(c) for c in cells]


def test_only_cells_that_are_there_are_asked():
    """Serial days are dates where half of the filled cells are: a row taken out counts no more."""
    column = coded(plain(["45321", "pending", "waiting"]))
    assert read_dates(column, "dmy").isna().all()
    assert read_dates(column.iloc[:1], "dmy").tolist() == [pd.Timestamp("2024-01-30")]


@given(st.lists(st.text(max_size=8), max_size=8))
def test_all_names_at_once_are_squeezed_as_each_alone(names: list[str]):
    assert squeezed(names) == ["".join(n.casefold().split()) for n in names]


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=8), max_size=8))
def test_digests_of_many_texts_are_those_of_each(texts: list[str]):
    each = [int(digest_of("Job", text), 16) for text in texts]
    assert numbers_of(texts, salt="Job").tolist() == each
