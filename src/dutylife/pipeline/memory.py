"""A run's memory held under ``[compute] memory_limit``: told before reading, stopped if reached."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dutylife.errors import RunError
from dutylife.intake import find_files
from dutylife.settings import Settings, bytes_of

KEY = "[compute] memory_limit"
BASE_BYTES = 250 * 2**20  # program and libraries
# of the bytes of the text files, beside the program: what whole runs of 1 and 10 million lines of
# tests/benchmarks/big_export.py (0.17 and 1.7 GB) took at their peak. Small fleets take more of
# their files, for draws and simulated years take as much for a few machines as for many
FIRST_BYTES = 170e6
TIMES_FIRST, TIMES_REST = 12.7, 9.5
TEXT_FILES = (".csv", ".tsv", ".txt", ".json", ".jsonl", ".xml", ".html", ".sql")


@contextmanager
def bounded_memory(settings: Settings) -> Iterator[None]:
    """Let the process take no more memory than the settings allow while this lasts.

    The system is asked to refuse what goes beyond (Linux: private memory of the process); a run
    that meets the refusal ends in a message. Elsewhere only DuckDB and the estimate are held.

    Raises
    ------
    RunError
        The exports are too large for the limit, or it was reached.
    """
    limit = bytes_of(settings.compute.memory_limit)
    if not limit:
        yield
        return
    _tell_before(settings, limit)
    before = _limited(limit)
    try:
        yield
    except MemoryError as error:
        raise RunError(
            f"The run needs more memory than the {settings.compute.memory_limit} it was allowed.",
            KEY, _mend(),
        ) from error  # fmt: skip
    finally:
        _limited(before)


def give_back() -> None:
    """Give memory that a stage let go back to the system.

    The C library keeps it, in pieces between what is still held: a run of 1 million lines held
    three times what its tables take. Where the library has no such call nothing is done.
    """
    import ctypes
    import sys

    if sys.platform != "linux":
        return
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # glibc has it, others do not
    if trim is not None:
        trim(0)


def needed_bytes(settings: Settings) -> int:
    """Memory that a run on the text files of the exports takes, by their size."""
    sizes = [
        path.stat().st_size
        for number, export in enumerate(settings.exports, 1)
        for path in find_files(export, settings.folder, f"exports[{number}]")
        if isinstance(path, Path) and path.suffix.lower() in TEXT_FILES
    ]
    return _taken_by(sum(sizes)) if sizes else 0


def _taken_by(size: float) -> int:
    first = min(size, FIRST_BYTES)
    return int(BASE_BYTES + TIMES_FIRST * first + TIMES_REST * (size - first))


def _tell_before(settings: Settings, limit: int) -> None:
    needed = needed_bytes(settings)
    if needed > limit:
        raise RunError(
            f"The exports take about {needed / 2**30:.1f} GiB of memory to read; "
            f"{settings.compute.memory_limit} is allowed.",
            KEY, _mend(),
        )  # fmt: skip


def _mend() -> str:
    return (
        "raise memory_limit if the machine has more memory, or run a part of the exports: fewer "
        "years, or one depot's machines at a time"
    )


def _limited(limit: int | None) -> int | None:
    """Set the limit of this process; return the one before, None where the system has none."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    soft, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if limit is None:
        limit = hard
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard) if limit != resource.RLIM_INFINITY else hard
    resource.setrlimit(resource.RLIMIT_DATA, (limit, hard))
    return soft
