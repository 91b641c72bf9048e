"""Jobs of a proof done in order: by one process, several, or a scheduler's workers."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from dutylife.errors import DutylifeError
from dutylife.spread import Compute, spread

Job = TypeVar("Job")
Done = TypeVar("Done")
Workers = int | Compute


def worked(do: Callable[[Job], Done], jobs: Iterable[Job], workers: Workers) -> Iterator[Done]:
    """Yield what each job gives, in the order of the jobs, wherever they are done."""
    yield from spread(_one, do, jobs, compute_of(workers))


def compute_of(workers: Workers) -> Compute:
    """Where jobs are done: by so many processes, or as stated.

    Raises
    ------
    DutylifeError
        Fewer than one process.
    """
    if isinstance(workers, Compute):
        return workers
    if workers < 1:
        raise DutylifeError(f"{workers} workers can't run anything.", "workers", "1 or more")
    return Compute(workers=workers)


def _one(do: Callable[[Job], Done], job: Job) -> Done:
    return do(job)
