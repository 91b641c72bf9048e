"""Row order, column order and a doubled file change nothing but the count of duplicates."""

import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_exports import HEADER, as_csv, good_rows, read_made

from dutylife.coding import code_lines
from dutylife.intake import Intake
from dutylife.lives import build_lives
from dutylife.settings import settings_from

TABLES = ("service_lines", "units", "unit_spans")
DOUBLED = "read already from another file"


def read(*files: bytes) -> Intake:
    with tempfile.TemporaryDirectory() as folder:
        return read_made(Path(folder), *files)


def same(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    drop = ["source_row", "source_file"]
    both = [t.drop(columns=drop, errors="ignore").astype("object") for t in (one, two)]
    return both[0].where(both[0].notna(), None).equals(both[1].where(both[1].notna(), None))


@given(st.lists(good_rows(), min_size=3, max_size=20), st.randoms(use_true_random=False))
def test_order_of_rows_and_columns(rows, random):
    one = read(as_csv(rows))
    order = random.sample(range(len(HEADER)), len(HEADER))
    mixed = random.sample(rows, len(rows))
    header = [HEADER[c] for c in order]
    two = read(as_csv([[r[c] for c in order] for r in mixed], header))
    for name in TABLES:
        assert same(one.tables[name], two.tables[name]), name


@pytest.mark.slow
@given(st.lists(good_rows(), min_size=3, max_size=20))
def test_a_doubled_file(rows):
    one, two = read(as_csv(rows)), read(as_csv(rows), as_csv(rows))
    for name in TABLES:
        assert same(one.tables[name], two.tables[name]), name
    aside = two.tables["set_aside"]
    assert len(aside) == len(rows) + len(one.tables["set_aside"])
    assert (aside["reason"] == DOUBLED).sum() == len(rows)


@pytest.mark.slow
@settings(max_examples=4)
@given(st.lists(good_rows(), min_size=4, max_size=10), st.randoms(use_true_random=False))
def test_the_lives_behind_them(rows, random):
    """The same through coding and lives: the failure-event table is equal, cell for cell."""
    run = settings_from({"fleet": {"as_of": "2025-12-31"}, "duty": {"all": "kerb"}})
    made = []
    for files in ([as_csv(rows)], [as_csv(random.sample(rows, len(rows)))], [as_csv(rows)] * 2):
        t = read(*files).tables
        coded = code_lines(t["service_lines"], t["units"], t["shelf"], run)
        lives = build_lives(
            coded["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], run
        )
        made.append((coded["maintenance_events"], coded["readings"], lives["failure_events"]))
    for others in made[1:]:
        assert all(same(a, b) for a, b in zip(made[0], others, strict=True))
