"""Work done by one process, several or a scheduler's workers: same results, in order, or an error
that says what to do."""  # noqa: D209

import os
import socket
from collections.abc import Iterator

import pytest
from spread_jobs import (
    always_kills,
    kills_its_worker_once,
    powered,
    refuses,
    slow_then_fast,
    spreads_again,
)

from dutylife.errors import ExportError, RunError, SettingsError
from dutylife.practice import make_practice
from dutylife.settings.sections import Compute
from dutylife.spread import piece, processes, require_scheduler, scheduler, spread, spread_as_done

WAYS = ["one", "processes", "scheduler"]


@pytest.fixture
def compute(request: pytest.FixtureRequest) -> Compute:
    if request.param == "scheduler":
        return Compute(scheduler=request.getfixturevalue("cluster").scheduler_address)
    return Compute(workers=2 if request.param == "processes" else 1)


@pytest.mark.parametrize("compute", WAYS, indirect=True)
def test_results_come_in_the_order_of_the_jobs(compute: Compute):
    found = list(spread(powered, 3, range(20), compute))
    assert [value for value, _ in found] == [3**n for n in range(20)]
    here = {pid for _, pid in found} == {os.getpid()}
    assert here == (compute == Compute())


@pytest.mark.parametrize("compute", WAYS[1:], indirect=True)
def test_what_is_done_first_is_given_first_where_order_is_not_asked_for(compute: Compute):
    found = list(spread_as_done(slow_then_fast, None, [6.0, 0.01, 0.02], compute))
    assert sorted(found) == [(0, 6.0), (1, 0.01), (2, 0.02)]
    assert found[0] != (0, 6.0)
    assert list(spread(slow_then_fast, None, [0.6, 0.01], compute)) == [0.6, 0.01]


@pytest.mark.parametrize("compute", WAYS[1:], indirect=True)
def test_a_worker_that_is_killed_changes_nothing(compute: Compute, tmp_path):
    found = list(spread(kills_its_worker_once, str(tmp_path), range(6), compute))
    assert (tmp_path / "killed").exists()
    assert found == [0, 1, 4, 9, 16, 25]


@pytest.mark.parametrize("compute", WAYS, indirect=True)
def test_an_error_of_ours_arrives_whole(compute: Compute):
    with pytest.raises(ExportError) as told:
        list(spread(refuses, "lines.csv", range(6), compute))
    assert (told.value.what, told.value.where) == ("The third file is empty.", "lines.csv")


@pytest.mark.parametrize("compute", WAYS[1:], indirect=True)
def test_a_piece_of_work_is_not_spread_further(compute: Compute):
    for outer, *inner in spread(spreads_again, compute, [1, 2], compute):
        assert set(inner) == {outer}
        assert outer != os.getpid()


@pytest.mark.parametrize("compute", WAYS, indirect=True)
def test_no_work_and_one_job_need_no_other_process(compute: Compute):
    assert list(spread(powered, 3, [], compute)) == []
    assert list(spread(powered, 3, [2], compute)) == [(9, os.getpid())]


@pytest.mark.parametrize("compute", WAYS, indirect=True)
def test_jobs_are_asked_for_as_workers_come_free(compute: Compute):
    """What is cut out of a large table is not held all at once."""
    made: list[int] = []

    def jobs() -> Iterator[int]:
        for number in range(400):
            made.append(number)
            yield number

    done = spread_as_done(powered, 1, jobs(), compute)
    first, _ = next(done)
    assert len(made) < 60
    assert sorted([first, *(number for number, _ in done)]) == list(range(400))


@pytest.mark.parametrize("compute", WAYS, indirect=True)
def test_a_job_that_cannot_be_made_ends_the_work(compute: Compute):
    def jobs() -> Iterator[int]:
        yield from range(30)
        raise MemoryError("no room for the next job")

    with pytest.raises(MemoryError, match="no room"):
        list(spread(powered, 1, jobs(), compute))


@pytest.mark.parametrize("compute", WAYS[2:], indirect=True)
def test_workers_of_another_version_are_refused(compute: Compute, monkeypatch):
    monkeypatch.setattr(piece, "program", lambda: "another")
    other = piece.Piece(powered, sent_by="another")
    monkeypatch.undo()
    with pytest.raises(RunError, match="another version of dutylife"):
        list(scheduler.by_scheduler(other, 3, enumerate([1, 2]), compute.scheduler))


def test_a_scheduler_that_is_not_there_is_told(monkeypatch):
    monkeypatch.setattr(scheduler, "REACHED_SECONDS", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    for bad in (address, "nonsense://x", "tcp://"):
        with pytest.raises(SettingsError) as told:
            require_scheduler(bad)
        assert bad in told.value.what
        assert told.value.where == "compute.scheduler"


def test_a_scheduler_without_workers_is_not_waited_for_for_ever(monkeypatch, without_workers):
    monkeypatch.setattr(scheduler, "WORKERLESS_SECONDS", 0.5)
    compute = Compute(scheduler=without_workers.scheduler_address)
    with pytest.raises(RunError, match="no worker"):
        list(spread(powered, 3, range(3), compute))


def test_without_the_library_the_extra_is_named(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SettingsError, match=r"dutylife\[distributed\]"):
        require_scheduler("tcp://127.0.0.1:1")


def test_work_that_kills_every_process_is_given_up_with_a_word(monkeypatch):
    monkeypatch.setattr(processes, "LOST_AT_MOST", 1)
    with pytest.raises(RunError, match=r"(?s)died 2 times, 2 pieces.*fewer workers"):
        list(spread(always_kills, None, [1, 1], Compute(workers=2)))


def test_work_that_kills_every_worker_of_a_scheduler_is_given_up_with_a_word(doomed):
    with pytest.raises(RunError, match=r"(?s)were lost.*scheduler's log"):
        list(spread(always_kills, None, range(3), Compute(scheduler=doomed.scheduler_address)))


def test_a_run_with_a_scheduler_that_is_not_there_ends_with_2_and_leaves_nothing(
    tmp_path, monkeypatch, capsys
):
    from dutylife.cli import main

    monkeypatch.setattr(scheduler, "REACHED_SECONDS", 0.5)
    made = make_practice(tmp_path / "fleet", n_units=3, n_years=1, seed=1)
    path = made["settings"]
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[compute]\nscheduler = "tcp://127.0.0.1:1"\n', encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["run", str(path), "--out", str(tmp_path / "run")])
    assert ended.value.code == 2
    assert "no scheduler at 'tcp://127.0.0.1:1'" in capsys.readouterr().err
    assert not (tmp_path / "run").exists()
