"""A kept month comes back as it was, to the last bit, and a run killed leaves the history whole."""

import datetime as dt
import json
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import RunError
from dutylife.history import Given, keep_month, months_kept
from dutylife.history.snapshot import GIVEN, INPUTS
from dutylife.schema import as_table, empty_table
from dutylife.settings import settings_from

FLEET = "Depot & Sons"


def run_of(day: str, *, fleet: str = FLEET, price: float = 0.1) -> Given:
    lines = pd.DataFrame(
        {
            "line_id": ["b", "a"], "source_file": "lines.csv", "source_row": [3, 2],
            "service_date": pd.to_datetime(["2025-02-01", "2025-01-31"]),
            "unit_id": ["0017", None], "line_kind": "part", "ticket": ["J1", ""],
            "complaint": ['won\'t "run", =1+1\nاختبار', ""],
            "unit_price": [price / 3, np.nan],
        }
    )  # fmt: skip
    stock = pd.DataFrame(
        {"part_number": ["0007"], "order_up_to": [4.0], "order_now": [np.nan],
         "sentence": "long words that nobody asks for later"}
    )  # fmt: skip
    found = pd.DataFrame(
        {"finding_id": ["1", "2"], "stage": ["intake", "history"], "kind": "note",
         "message": "m", "source_row": 0}
    )  # fmt: skip
    return Given(
        settings=settings_from({"fleet": {"name": fleet, "as_of": dt.date.fromisoformat(day)}}),
        inputs={n: empty_table(n) for n in INPUTS} | {"service_lines": as_table("service_lines",
                                                                                lines)},
        tables={n: empty_table(n) for n in GIVEN} | {"stock_plan": as_table("stock_plan", stock),
                                                     "findings": as_table("findings", found)},
        digests={"stock_plan": "ab"}, accounts=[{"name": "lines.csv", "n_rows": 2}], before="",
    )  # fmt: skip


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes()
            for p in sorted(folder.rglob("*")) if p.is_file()}  # fmt: skip


def test_a_month_comes_back_to_the_last_bit(tmp_path: Path):
    run = run_of("2025-11-30")
    keep_month(tmp_path, run)
    (month,) = months_kept(tmp_path, FLEET)
    pd.testing.assert_frame_equal(
        month.table("inputs", "service_lines"), run.inputs["service_lines"], check_exact=True
    )
    assert month.as_of == dt.date(2025, 11, 30)
    assert month.settings(settings_from({})).fleet == run.settings.fleet


def test_the_same_month_is_kept_in_the_same_bytes(tmp_path: Path):
    for place in ("one", "two"):
        keep_month(tmp_path / place, run_of("2025-11-30"))
    keep_month(tmp_path / "two", run_of("2025-11-30"))
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_no_more_is_kept_than_is_looked_at(tmp_path: Path):
    keep_month(tmp_path, run_of("2025-11-30"))
    (month,) = months_kept(tmp_path, FLEET)
    plan = month.table("given", "stock_plan")
    assert plan["order_up_to"].tolist() == [4.0]
    assert plan["sentence"].tolist() == [""]
    assert month.table("given", "findings")["stage"].tolist() == ["history"]
    assert not any(b"nobody asks" in content for content in contents(tmp_path).values())


def test_a_day_run_again_takes_the_place_of_the_first(tmp_path: Path):
    keep_month(tmp_path, run_of("2025-11-30"))
    keep_month(tmp_path, run_of("2025-11-30", price=0.7))
    (month,) = months_kept(tmp_path, FLEET)
    assert month.table("inputs", "service_lines")["unit_price"].max() == 0.7 / 3
    assert len(list(tmp_path.iterdir())) == 2


def test_fleets_of_like_names_keep_apart(tmp_path: Path):
    for fleet in ("depot", "depot_2", "depot-2"):
        keep_month(tmp_path, run_of("2025-11-30", fleet=fleet))
    keep_month(tmp_path, run_of("2025-11-30", fleet="depot", price=0.5))
    for fleet in ("depot", "depot_2", "depot-2"):
        (month,) = months_kept(tmp_path, fleet)
        assert len(month.table("inputs", "service_lines")) == 2


def test_a_month_that_was_tampered_with_is_refused(tmp_path: Path):
    month = keep_month(tmp_path, run_of("2025-11-30"))
    path = next(tmp_path.glob("*/inputs/service_lines.parquet"))
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(RunError, match="not as it was kept"):
        month.table("inputs", "service_lines")
    month.path.write_text("{}", encoding="utf-8")
    with pytest.raises(RunError, match="can't be read"):
        months_kept(tmp_path, FLEET)


@pytest.mark.parametrize(
    "at",
    ["replace", *(pytest.param(at, marks=pytest.mark.slow) for at in ("write", "rename", "sweep"))],
)
def test_a_run_killed_while_keeping_leaves_the_history_whole(tmp_path: Path, at: str):
    """The process kills itself at that step of replacing the month of a day."""
    keep_month(tmp_path, run_of("2025-10-31"))
    keep_month(tmp_path, run_of("2025-11-30"))
    code = f"""
        import os, shutil, signal, sys
        from pathlib import Path
        sys.path.insert(0, {str(Path(__file__).parent)!r})
        from test_snapshot import run_of
        from dutylife.history import snapshot

        def killed(*_args, **_more):
            os.kill(os.getpid(), signal.SIGKILL)

        at, written = {at!r}, []
        if at == "write":
            first = snapshot.write_exact
            def write(*args):
                written.append(first(*args))
                if len(written) == 5:
                    killed()
            snapshot.write_exact = write
        elif at == "sweep":
            real = shutil.rmtree
            shutil.rmtree = lambda p, **m: killed() if "2025-11-30" in str(p) and \\
                not str(p).endswith(".new") else real(p, **m)
        else:
            setattr(Path, at, killed)
        snapshot.keep_month(Path({str(tmp_path)!r}), run_of("2025-11-30", price=0.9))
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], check=False)
    assert done.returncode == -signal.SIGKILL
    october, november = months_kept(tmp_path, FLEET)
    price = 0.9 if at == "sweep" else 0.1  # by then the new one stands
    assert november.inputs()["service_lines"]["unit_price"].max() == price / 3
    assert len(october.inputs()["service_lines"]) == 2
    keep_month(tmp_path, run_of("2025-11-30", price=0.9))  # the next run sweeps what was left
    folders = {json.loads(p.read_text())["folder"] for p in tmp_path.glob("*.json")}
    assert {p.name for p in tmp_path.iterdir() if p.is_dir()} == folders
