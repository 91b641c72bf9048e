"""A small run gives the same tables to the byte wherever its work is done, and if a worker dies."""

import os
import signal
import time
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dutylife import pipeline
from dutylife.lives import blocks
from dutylife.models import check_laws
from dutylife.practice import make_practice
from dutylife.run_folder import write_tables
from dutylife.sensitivity import sensitivity
from dutylife.settings import Settings, read_settings
from dutylife.settings.sections import Compute

pytestmark = pytest.mark.slow  # minutes: each runs the stages anew


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """A small fleet; its lines come in three files, so that there is something to share."""
    folder = tmp_path_factory.mktemp("fleet")
    made = make_practice(folder, n_units=12, n_years=2, seed=3)
    whole = folder / "lines.csv"
    header, *rows = whole.read_text(encoding="utf-8-sig").splitlines(keepends=True)
    third = len(rows) // 3
    for i in range(3):
        of = rows[i * third : (i + 1) * third if i < 2 else None]
        (folder / f"lines_{i}.csv").write_text(header + "".join(of), encoding="utf-8-sig")
    text = made["settings"].read_text(encoding="utf-8").replace('"lines.csv"', '"lines_*.csv"')
    assert "lines_*" in text
    made["settings"].write_text(text, encoding="utf-8")
    return read_settings(made["settings"])


def tables_of(
    settings: Settings, compute: Compute, folder: Path, watch: Any = None, *, whole: bool = False
) -> Path:
    """Tables of exports, lives and laws; of the whole run."""
    given = settings.model_copy(update={"compute": compute})
    as_read: dict[str, pd.DataFrame] = {}

    def keep(stage: str, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
        if stage == "reading exports":
            as_read.update({name: tables[name] for name in ("units", "unit_spans")})
        return {}

    filled, tables = pipeline.run_stages(given, progress=watch, after=keep, laws_only=not whole)
    tables["law_checks"] = check_laws(tables["failure_events"], filled)
    if whole:
        tables["sensitivity"] = sensitivity(tables | as_read, filled)
    write_tables(tables, folder)
    return folder


@pytest.fixture(autouse=True)
def several_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lives of so small a fleet would be one piece of work."""
    monkeypatch.setattr(blocks, "MACHINES_A_BLOCK", 5)


@pytest.fixture(scope="module")
def plain(settings: Settings, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tables_of(settings, Compute(), tmp_path_factory.mktemp("plain") / "tables")


def differing(one: Path, other: Path) -> list[str]:
    names = sorted(p.name for p in one.iterdir())
    assert names == sorted(p.name for p in other.iterdir())
    assert len(names) > 20
    return [n for n in names if (one / n).read_bytes() != (other / n).read_bytes()]


def test_two_processes_give_the_same_bytes(settings: Settings, plain: Path, tmp_path: Path):
    assert differing(plain, tables_of(settings, Compute(workers=2), tmp_path / "tables")) == []


def test_a_worker_killed_in_the_middle_changes_nothing(settings, plain, cluster, tmp_path):
    import threading

    from distributed import Client

    killed: list[int] = []

    def kill_soon(step: str) -> None:
        if step == "life models":
            threading.Thread(target=kill, daemon=True).start()

    def kill() -> None:
        time.sleep(0.5)
        with Client(cluster.scheduler_address, set_as_default=False) as client:
            pid = min(client.run(os.getpid).values())
        os.kill(pid, signal.SIGKILL)
        killed.append(pid)

    compute = Compute(scheduler=cluster.scheduler_address)
    found = tables_of(settings, compute, tmp_path / "tables", watch=kill_soon)
    assert len(killed) == 1
    assert differing(plain, found) == []


@pytest.mark.parametrize("way", ["processes", "scheduler"])
def test_a_whole_run_gives_the_same_bytes(settings, way, request, tmp_path):
    compute = Compute(workers=2)
    if way == "scheduler":
        compute = Compute(scheduler=request.getfixturevalue("cluster").scheduler_address)
    one = tables_of(settings, Compute(), tmp_path / "one", whole=True)
    assert differing(one, tables_of(settings, compute, tmp_path / "other", whole=True)) == []
