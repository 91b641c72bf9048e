"""A scheduler with two worker processes on this machine."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@contextmanager
def local_cluster(n_workers: int = 2, **settings: object) -> Iterator[Any]:
    distributed = pytest.importorskip("distributed")
    import dask

    with (
        dask.config.set(settings),
        distributed.LocalCluster(
            n_workers=n_workers, threads_per_worker=1, processes=True, dashboard_address=":0",
            silence_logs=50,
        ) as made,
    ):  # fmt: skip
        yield made


@pytest.fixture(scope="session")
def cluster() -> Iterator[Any]:
    with local_cluster() as made:
        yield made


@pytest.fixture
def without_workers() -> Iterator[Any]:
    with local_cluster(n_workers=0) as made:
        yield made


@pytest.fixture
def doomed() -> Iterator[Any]:
    """A cluster for work that kills it; a piece is given up after its second worker."""
    with local_cluster(**{"distributed.scheduler.allowed-failures": 1}) as made:
        yield made
