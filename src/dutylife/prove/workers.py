"""Jobs of a proof done in order, by one process or several."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Job = TypeVar("Job")
Done = TypeVar("Done")


def worked(do: Callable[[Job], Done], jobs: Iterable[Job], workers: int) -> Iterator[Done]:
    """Yield what each job gives, in the order of the jobs, whatever the number of processes."""
    from joblib import Parallel, delayed

    yield from Parallel(n_jobs=workers, return_as="generator")(delayed(do)(job) for job in jobs)
