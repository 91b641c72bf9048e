"""Pieces of work done by processes of this machine, through joblib."""

import pickle
import tempfile
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from dutylife.errors import RunError
from dutylife.spread.piece import Piece

LOST_AT_MOST = 3  # times that a worker may be lost before the run gives up


def by_processes(
    piece: Piece, common: Any, jobs: Iterator[tuple[int, Any]], workers: int
) -> Iterator[tuple[int, Any]]:
    """Yield number and result of each job as it is done.

    Raises
    ------
    RunError
        Workers were lost again and again.
    """
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    under_way: dict[int, Any] = {}
    broken: list[Exception] = []
    ended, lost = False, 0

    def handed_out() -> Iterator[tuple[int, Any]]:
        nonlocal ended
        yield from list(under_way.items())  # what lost workers had
        try:
            for number, job in jobs:
                under_way[number] = job
                yield number, job
        except Exception as error:  # asked for by a thread of joblib, which would lose it
            broken.append(error)
        ended = True

    with tempfile.TemporaryDirectory(prefix="dutylife-") as folder:
        # written once and read once by each worker, where a copy would travel with every job
        held = Path(folder) / "common"
        held.write_bytes(pickle.dumps(common, protocol=pickle.HIGHEST_PROTOCOL))
        while under_way or not ended:
            runner = Parallel(n_jobs=workers, return_as="generator_unordered")
            try:
                for number, done in runner(
                    delayed(_one)(piece, str(held), number, job) for number, job in handed_out()
                ):
                    del under_way[number]
                    yield number, done
            except TerminatedWorkerError as error:
                lost += 1
                if lost > LOST_AT_MOST:
                    raise RunError(
                        f"Worker processes died {lost} times, {len(under_way)} pieces of work "
                        "under way.",
                        "compute.workers",
                        "they may have run out of memory: give fewer workers, or more memory",
                    ) from error
        if broken:
            raise broken[0]


@lru_cache(maxsize=1)
def _common(path: str) -> Any:
    return pickle.loads(Path(path).read_bytes())


def _one(piece: Piece, path: str, number: int, job: Any) -> tuple[int, Any]:
    return number, piece(_common(path), job)
