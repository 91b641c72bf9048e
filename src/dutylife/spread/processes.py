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
    piece: Piece, common: Any, jobs: dict[int, Any], workers: int
) -> Iterator[tuple[int, Any]]:
    """Yield number and result of each job as it is done.

    Raises
    ------
    RunError
        Workers were lost again and again.
    """
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    left, lost = dict(jobs), 0
    with tempfile.TemporaryDirectory(prefix="dutylife-") as folder:
        # written once and read once by each worker, where a copy would travel with every job
        held = Path(folder) / "common"
        held.write_bytes(pickle.dumps(common, protocol=pickle.HIGHEST_PROTOCOL))
        while left:
            runner = Parallel(n_jobs=workers, return_as="generator_unordered")
            try:
                for number, done in runner(
                    delayed(_one)(piece, str(held), number, job)
                    for number, job in list(left.items())
                ):
                    del left[number]
                    yield number, done
            except TerminatedWorkerError as error:
                lost += 1
                if lost > LOST_AT_MOST:
                    raise RunError(
                        f"Worker processes died {lost} times, {len(left)} pieces of work are left.",
                        "compute.workers",
                        "they may have run out of memory: give fewer workers, or more memory",
                    ) from error


@lru_cache(maxsize=1)
def _common(path: str) -> Any:
    return pickle.loads(Path(path).read_bytes())


def _one(piece: Piece, path: str, number: int, job: Any) -> tuple[int, Any]:
    return number, piece(_common(path), job)
