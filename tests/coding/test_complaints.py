"""Complaints are alike by what they say, not by how they were typed."""

import pytest

from dutylife.coding import complaint_signs
from dutylife.settings import settings_from

RECORD = ["no spark"] * 9 + ["no power"] * 9 + ["won't start"] * 9 + ["black smoke"] * 9


def sign(text: str):
    return complaint_signs(RECORD, settings_from({}), [text])[text]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("no spark", "NO SPARK"),
        ("no spark", "dead, no spark"),  # what points to a part says more than "dead"
        ("no power", "back again, no power"),  # when it happens, not what
        ("black smoke", "black smkoe"),
        ("won't start", "wont start!"),
    ],
)
def test_the_same_said_otherwise_is_alike(one: str, other: str):
    assert sign(one).words == sign(other).words != ""
    assert sign(one).is_known
    assert sign(other).is_known


@pytest.mark.parametrize(("one", "other"), [("no spark", "no power"), ("no power", "won't start")])
def test_something_else_is_not(one: str, other: str):
    assert sign(one).words != sign(other).words


def test_the_lexicon_points_to_components():
    assert "spark plug" in sign("no spark").points_to
    assert sign("no power").points_to == ()
    assert sign("fuel hose split").points_to == ("fuel hose and clamps",)


def test_words_never_heard_stand_for_themselves():
    strange = sign("wibbles when wobbled 7")
    assert not strange.is_known
    assert strange.words == "when wibbles wobbled"
    assert sign("").words == ""
