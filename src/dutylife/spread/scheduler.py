"""Pieces of work done by the workers of a Dask scheduler, on this machine or many.

The scheduler keeps each piece until its result is fetched: what a lost worker was doing, another
one does again.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

from dutylife.errors import RunError, SettingsError
from dutylife.spread.piece import Piece

WHERE = "compute.scheduler"
EXTRA = "distributed"
REACHED_SECONDS = 10.0
WORKERLESS_SECONDS = 60.0  # a cluster that restarts its workers has them back by then
FIRST = "FIRST_COMPLETED"
A_THREAD = 2  # pieces under way for each thread, so that none waits for the next one


def require_scheduler(address: str) -> None:
    """Refuse a scheduler that can't be used, before any work is done.

    Raises
    ------
    SettingsError
        It can't be reached, or the library for it is not installed.
    """
    with _client(address):
        pass


def by_scheduler(
    piece: Piece, common: Any, jobs: Iterator[tuple[int, Any]], address: str
) -> Iterator[tuple[int, Any]]:
    """Yield number and result of each job as it is done.

    Raises
    ------
    SettingsError
        As `require_scheduler`.
    RunError
        The scheduler or its workers were lost.
    """
    with _client(address) as client:
        from distributed import CancelledError, wait

        try:
            _require_workers(client)
            shared = client.submit(_itself, common, pure=False)
            at_once = A_THREAD * max(sum(client.nthreads().values()), 1)
            under_way: dict[Any, int] = {}
            while True:
                for number, job in islice(jobs, at_once - len(under_way)):
                    under_way[client.submit(piece, shared, job, pure=False)] = number
                if not under_way:
                    return
                try:
                    with client.as_current():
                        ready = wait(list(under_way), REACHED_SECONDS, return_when=FIRST).done
                except TimeoutError:
                    _require_workers(client)
                    continue
                for future in sorted(ready, key=under_way.__getitem__):
                    yield under_way.pop(future), _result(future)
        except CancelledError as error:
            raise _lost(error) from error


def _result(future: Any) -> Any:
    """Result of a piece that is done; what the piece itself raised goes on as it is."""
    from distributed import KilledWorker
    from distributed.comm.core import CommClosedError

    try:
        return future.result()
    except (KilledWorker, CommClosedError) as error:
        raise _lost(error) from error


def _lost(error: BaseException) -> RunError:
    return RunError(
        f"The scheduler or its workers were lost ({type(error).__name__}: {error}).",
        WHERE,
        "see the scheduler's log: workers may have run out of memory; nothing was written, start "
        "it and run again",
    )


def _itself(common: Any) -> Any:
    return common


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise SettingsError(
            "A scheduler is named, but the library that talks to it is not installed.",
            WHERE, f"pip install 'dutylife[{EXTRA}]', or take the key out",
        ) from error  # fmt: skip
    # tables are meant to travel: no word about their size
    with dask.config.set({"distributed.admin.large-graph-warning-threshold": "1 TB"}):
        try:
            client = Client(address, timeout=REACHED_SECONDS, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise SettingsError(
                f"There is no scheduler at '{address}' that answers within "
                f"{REACHED_SECONDS:.0f} seconds.",
                WHERE,
                "start one (dask scheduler, then dask worker ADDRESS), correct the address, or "
                "take the key out to run on this machine",
            ) from error
        try:
            yield client
        finally:
            client.close()


def _require_workers(client: Any) -> None:
    """Refuse to wait for ever for workers that don't come.

    Raises
    ------
    RunError
        The scheduler has none, and none comes.
    """
    try:
        client.wait_for_workers(1, timeout=WORKERLESS_SECONDS)
    except TimeoutError as error:
        raise RunError(
            f"The scheduler has had no worker for {WORKERLESS_SECONDS:.0f} seconds.",
            WHERE, "start workers (dask worker ADDRESS), or take the key out",
        ) from error  # fmt: skip
