"""A printed table: nothing from data is markup, every cell is labelled, units are said."""

import re
import xml.etree.ElementTree as ET

import pandas as pd
import pytest
from made_run import BAD

from dutylife import wording
from dutylife.reports.layout import Section, listed
from dutylife.reports.tables import Shown, date_column, figure_column, html_table, whole

FRAME = pd.DataFrame(
    {
        "part": ["P-1", BAD],
        "held": [3.0, None],
        "due": [pd.Timestamp("2026-03-02"), pd.NaT],
        "why": [f"first\n{BAD}", None],
    }
)
SHOWN = [
    Shown(name="part", heading="part"),
    figure_column("held", "on hand", "pieces"),
    date_column("due", "needed by"),
    Shown(name="why", heading="why", wide=True),
]


def table(**more: object) -> ET.Element:
    scrolled = ET.fromstring(str(html_table(FRAME, SHOWN, caption=f"Parts {BAD}", **more)))
    assert scrolled.tag == "div"  # it scrolls by itself where the screen is narrow
    return scrolled.find("table")


def test_text_of_data_is_never_markup():
    tree = table()
    assert {e.tag for e in tree.iter()} <= {
        "table", "caption", "thead", "tbody", "tr", "th", "td", "span", "small",
    }  # fmt: skip
    assert "".join(tree.itertext()).count(BAD) == 3


def test_caption_scopes_and_labels():
    tree = table()
    assert tree.find("caption").text.startswith("Parts")
    assert [th.get("scope") for th in tree.findall("thead/tr/th")] == ["col"] * 4
    for row in tree.findall("tbody/tr"):
        assert row.find("th").get("scope") == "row"
        assert [td.get("data-label") for td in row.findall("td")] == [
            "on hand (pieces)", "needed by", "why",
        ]  # fmt: skip


def test_missing_is_said_or_blank_as_asked():
    first, second = table().findall("tbody/tr")
    assert ["".join(td.itertext()).strip() for td in first.findall("td")][:2] == ["3", "2 Mar 2026"]
    assert ["".join(td.itertext()).strip() for td in second.findall("td")] == ["not known", "", ""]


def test_a_table_without_rows_is_a_sentence():
    assert str(html_table(FRAME.head(0), SHOWN, caption="x", none=f"None {BAD}")).count("<") == 2


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0"), (7.0, "7"), (2.46, "2.5"), (12345.0, "12 345"), (-3.0, "-3")]
)
def test_pieces(value: float, text: str):
    assert whole(value) == text


def test_a_share_close_to_one_is_not_called_certain():
    assert wording.share(0.9999) != "100 %"
    assert wording.share(1.0) == "100 %"


def test_no_line_of_a_page_ends_inside_a_number():
    frame = pd.DataFrame({"who": ["A 1 200"], "n": [1234567.0], "why": ["at 1 010 h, not -2 500"]})
    shown = [Shown(name="who", heading="who"), figure_column("n", "n"),
             Shown(name="why", heading="why")]  # fmt: skip
    html = html_table(frame, shown, caption="Of 9 999 999.")
    html += Section("", "Saves 12 000 EUR.", ("By 1 500.",), (listed(["To 7 000."]),)).html
    assert not re.search(r"\d \d{3}\b", html)
    assert "1\u202f234\u202f567" in html
    assert "-2\u202f500" in html
    # what goes into tables and the workbook stays plain
    assert wording.number(1234.0) == "1 230"


def test_a_unit_stays_with_its_number():
    html = Section("", "Replace at 120 h, 93 % in time.", ("5 hours, 3 hot days.",)).html
    assert "120\u00a0h, 93\u00a0% in" in html
    assert "5 hours, 3 hot days" in html


def test_figures_below_zero_have_a_minus_sign_and_names_keep_their_hyphens():
    frame = pd.DataFrame({"part": ["-AF-1 -2"], "change": [-3.0]})
    shown = [Shown(name="part", heading="part"), figure_column("change", "change")]
    html = html_table(frame, shown, caption="x")
    assert "<span>\u22123</span>" in html
    assert "-AF-1 -2" in html


def test_the_heading_stands_over_its_column():
    shown = [figure_column("n", "n"), figure_column("m", "m")]
    html = html_table(pd.DataFrame({"n": [1.0], "m": [2.0]}), shown, caption="x")
    # the first cell of a row names it and stands at the left, whatever it holds
    assert re.findall(r'<th scope="col" class="(\w+)">', html) == ["text", "number"]
