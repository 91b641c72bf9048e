"""Comebacks by job, component, maker and batch: counted once each, clusters seen, luck let be."""

import numpy as np
import pandas as pd
import pytest

from dutylife.models import comebacks_of
from dutylife.schema import as_table
from dutylife.settings import settings_from

SETTINGS = settings_from({"fleet": {"name": "x", "as_of": "2025-12-31"}})


def events(rows: list[dict]) -> pd.DataFrame:
    blank = {
        "component": "carburetor", "position": "", "activity": "replace", "reason": "failure",
        "finding": "failed", "is_comeback": False, "found_at_service": False, "confidence": 1.0,
        "quantity": 1.0, "line_ids": "",
    }  # fmt: skip
    return as_table("maintenance_events", pd.DataFrame([blank | r for r in rows]))


def lines(tickets: dict[str, str]) -> pd.DataFrame:
    return as_table(
        "service_lines",
        pd.DataFrame(
            [
                {"line_id": f"l{n}", "source_file": "f", "source_row": n, "ticket": t,
                 "ticket_kind": kind, "service_date": "2025-01-01", "line_kind": "labour"}
                for n, (t, kind) in enumerate(tickets.items())
            ]
        ),
    )  # fmt: skip


def catalogue(makers: dict[str, str]) -> pd.DataFrame:
    rows = [
        {"part_number": p, "part_maker": m, "component": "carburetor"} for p, m in makers.items()
    ]
    return as_table("catalogue", pd.DataFrame(rows))


def of(table: pd.DataFrame, kind: str, group: str) -> pd.Series:
    return table[(table["grouped_by"] == kind) & (table["group"] == group)].iloc[0]


def test_the_job_that_came_back_is_counted_not_the_one_that_mends_it():
    made = events(
        [
            {"unit_id": "A", "event_date": "2025-03-01", "ticket": "J1", "part_number": "P1"},
            {"unit_id": "A", "event_date": "2025-03-10", "ticket": "J2", "part_number": "P2",
             "is_comeback": True},
            {"unit_id": "B", "event_date": "2025-03-01", "ticket": "J3", "part_number": "P2"},
            # its window is not over on the last day of the record
            {"unit_id": "C", "event_date": "2025-12-20", "ticket": "J4", "part_number": "P2"},
        ]
    )  # fmt: skip
    told = lines({"J1": "repair", "J2": "repair", "J3": "service"})
    table = comebacks_of(made, told, catalogue({}), SETTINGS)
    assert of(table, "component", "carburetor")[["n_jobs", "n_comebacks"]].tolist() == [3, 1]
    assert of(table, "kind of job", "repair")[["n_jobs", "n_comebacks"]].tolist() == [2, 1]
    assert of(table, "kind of job", "service")[["n_jobs", "n_comebacks"]].tolist() == [1, 0]


def test_a_maker_whose_parts_come_back_is_named_and_one_of_luck_is_not():
    random = np.random.default_rng(3)
    rows, n_back = [], {"bad": 0, "good": 0}
    for n in range(400):
        maker = "bad" if n % 4 == 0 else "good"
        day = pd.Timestamp("2024-01-01") + pd.Timedelta(days=int(random.integers(0, 500)))
        rows.append(
            {"unit_id": f"U{n}", "event_date": day, "ticket": f"J{n}", "part_number": maker}
        )
        if random.random() < (0.25 if maker == "bad" else 0.02):
            n_back[maker] += 1
            rows.append(
                {"unit_id": f"U{n}", "event_date": day + pd.Timedelta(days=9), "ticket": f"K{n}",
                 "is_comeback": True, "activity": "inspect"}
            )  # fmt: skip
    makers = catalogue({"bad": "north works", "good": "south works"})
    table = comebacks_of(events(rows), lines({}), makers, SETTINGS)
    bad, good = (of(table, "part maker", m) for m in ("north works", "south works"))
    assert bad["n_comebacks"] == n_back["bad"]
    assert good["n_comebacks"] == n_back["good"]
    assert bad["p_adjusted"] < 1e-6
    assert "more than chance" in bad["verdict"]
    assert "no more than chance" in good["verdict"]
    assert bad["share_back_lower"] < 0.25 < bad["share_back_upper"]
    assert bad["expected_back"] == pytest.approx(100 * sum(n_back.values()) / 400)


def test_alike_batches_are_seldom_blamed():
    """All work comes back alike: one table in ten at most names a batch."""
    blamed = 0
    for seed in range(40):
        random = np.random.default_rng(seed)
        rows = []
        for n in range(300):
            day = pd.Timestamp("2023-01-01") + pd.Timedelta(days=int(random.integers(0, 900)))
            rows.append({"unit_id": f"U{n}", "event_date": day, "ticket": "J", "part_number": "P"})
            if random.random() < 0.05:
                rows.append(
                    {"unit_id": f"U{n}", "event_date": day + pd.Timedelta(days=5), "ticket": "K",
                     "is_comeback": True, "activity": "inspect"}
                )  # fmt: skip
        table = comebacks_of(events(rows), lines({}), catalogue({}), SETTINGS)
        batches = table[table["grouped_by"] == "batch"]
        assert len(batches) >= 8
        blamed += bool((batches["p_adjusted"] <= 0.05).any())
    assert blamed <= 4


def test_nothing_in_gives_an_empty_table():
    none = as_table("maintenance_events", pd.DataFrame())
    table = comebacks_of(none, lines({}), catalogue({}), SETTINGS)
    assert table.empty
    assert "n_comebacks" in table
