"""How independent pieces of work are done: one after another, by processes, or by a cluster.

Stages cut their work into pieces first (files, machines, components, fleets) and hand them here;
``[compute]`` decides where they are done. The pieces are the same wherever that is, so are the
results, and they come back in order.
"""

from collections.abc import Callable, Iterable, Iterator
from itertools import chain, islice
from typing import TypeVar

from dutylife.settings.sections import Compute
from dutylife.spread.piece import Piece, is_inside
from dutylife.spread.processes import by_processes
from dutylife.spread.scheduler import by_scheduler, require_scheduler

__all__ = ["Compute", "require_scheduler", "spread", "spread_as_done"]

Job = TypeVar("Job")
Common = TypeVar("Common")
Done = TypeVar("Done")


def spread(
    do: Callable[[Common, Job], Done], common: Common, jobs: Iterable[Job], compute: Compute
) -> Iterator[Done]:
    """Do each job where ``compute`` says, and give what it gives, in the order of the jobs.

    Parameters
    ----------
    do : callable
        A function of a module, called with ``common`` and a job; its result follows from these
        alone, so that a job lost with its worker can be done again.
    common : object
        What all jobs need; it goes to each worker once.
    jobs : iterable
        Each as small as it can be: it travels to the worker that does it. Asked for one by one,
        as workers come free, so that what is cut out of a large table is not held all at once.
    compute : Compute
        ``[compute]`` of the settings: one process, ``workers`` of them, or a ``scheduler``.

    Raises
    ------
    SettingsError
        The scheduler can't be reached, or the library for it is not installed.
    RunError
        The workers were lost again and again, or run another program than this one.
    DutylifeError
        As a job raised it, with the first job that failed.

    Notes
    -----
    Within a job nothing is spread further. Each job computes on one thread, wherever it runs:
    sums over threads may differ in their last digits.
    """
    waiting: dict[int, Done] = {}
    following = 0
    for number, done in spread_as_done(do, common, jobs, compute):
        waiting[number] = done
        while following in waiting:
            yield waiting.pop(following)
            following += 1


def spread_as_done(
    do: Callable[[Common, Job], Done], common: Common, jobs: Iterable[Job], compute: Compute
) -> Iterator[tuple[int, Done]]:
    """Do as `spread`, but give each job's number and result as soon as it is done."""
    numbered = enumerate(jobs)
    piece = Piece(do)
    far = (compute.scheduler != "" or compute.workers > 1) and not is_inside()
    begun = list(islice(numbered, 2 if far else 0))
    left = chain(begun, numbered)
    if len(begun) < 2:  # nobody to share with, or nothing to share
        for number, job in left:
            yield number, piece(common, job)
    elif compute.scheduler:
        yield from by_scheduler(piece, common, left, compute.scheduler)
    else:
        yield from by_processes(piece, common, left, compute.workers)
