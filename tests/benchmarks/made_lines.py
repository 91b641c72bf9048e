"""A large export made of a practice fleet's lines: 12 columns, as many rows as asked for."""

import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.practice import make_practice

COLUMNS = {
    "ticket": "Job", "service_date": "Job date", "ticket_kind": "Job kind", "unit_id": "Machine",
    "customer": "Customer", "meter_hours": "Meter", "complaint": "Complaint", "work_done": "Work",
    "part_number": "Part no", "description": "Text", "quantity": "Qty", "unit_price": "Each",
}  # fmt: skip


@cache
def practice_lines() -> pd.DataFrame:
    """Lines of a practice fleet of 200 machines over 5 years, all text."""
    with tempfile.TemporaryDirectory() as folder:
        make_practice(Path(folder), n_units=200, n_years=5, seed=4)
        return pd.read_csv(
            Path(folder) / "lines.csv", dtype=str, keep_default_na=False, encoding="utf-8-sig"
        )[list(COLUMNS.values())]


def many_lines(n_rows: int) -> pd.DataFrame:
    """Return the practice lines over and over, each round with jobs and machines of its own.

    Meters and prices vary with the round; half of the work texts end in a job reference, so that
    about as many texts are unlike as in a shop whose people type.
    """
    lines = practice_lines()
    rounds = -(-n_rows // len(lines))
    out = pd.concat([lines] * rounds, ignore_index=True).iloc[:n_rows].copy()
    turn = np.arange(n_rows) // len(lines)
    tag = pd.Series(turn).astype(str).to_numpy(dtype=object)
    out["Job"] = out["Job"].to_numpy(dtype=object) + "-" + tag
    out["Machine"] = (out["Machine"].to_numpy(dtype=object) + "-" + tag) * (out["Machine"] != "")
    cents = np.random.default_rng(7).integers(-150, 150, n_rows) / 100
    price = pd.to_numeric(out["Each"], errors="coerce")
    out["Each"] = (
        (price + cents.clip(-1, 1)).clip(lower=0).map("{:.2f}".format).where(price > 0, out["Each"])
    )
    told = (out["Work"] != "") & (np.arange(n_rows) % 2 == 0)
    out["Work"] = out["Work"].where(~told, out["Work"] + " ref " + out["Job"])
    return out
