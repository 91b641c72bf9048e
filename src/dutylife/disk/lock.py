"""One run at a time in a folder: the second is refused; the lock of a dead process holds nobody.

The system holds the lock on an open file and lets go of it when the process ends, however that
happens, so that a file left behind by a killed run means nothing.
"""

import datetime as dt
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from dutylife.errors import RunError

_HELD: dict[Path, int] = {}  # by this process, and how often


@contextmanager
def alone_in(folder: Path, *, wait_seconds: float = 0.0) -> Iterator[None]:
    """Hold a folder, by the file FOLDER.lock beside it, until the end; may be held in itself again.

    Parameters
    ----------
    folder : Path
        Absolute; need not be there. Folders above it that are made for the lock are taken away
        again when nothing was put into them.
    wait_seconds : float
        How long to wait for another process.

    Raises
    ------
    RunError
        Another process holds it.
    OSError
        The lock's file can't be made.
    """
    if folder in _HELD:
        _HELD[folder] += 1
        try:
            yield
        finally:
            _HELD[folder] -= 1
        return
    path = folder.with_name(folder.name + ".lock")
    made = [p for p in (folder.parent, *folder.parent.parents) if not p.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle = _held(path, folder, wait_seconds)
        _HELD[folder] = 1
        try:
            yield
        finally:
            del _HELD[folder]
            _let_go(handle, path)
    finally:
        for parent in made:
            if parent.is_dir() and not any(parent.iterdir()):
                parent.rmdir()


def _held(path: Path, folder: Path, wait_seconds: float) -> int:
    until = time.monotonic() + wait_seconds
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)
        if _is_taken(handle):
            told = os.read(handle, 200).decode("utf-8", "replace").strip()
            os.close(handle)
            if time.monotonic() < until:
                time.sleep(0.1)
                continue
            raise RunError(
                f"Another run is at work in this folder{f' ({told})' if told else ''}.",
                str(folder), "wait until it has ended, or give another --out",
            )  # fmt: skip
        # the one that held it may have taken the file away meanwhile: then this lock is of no file
        if path.exists() and os.path.samestat(os.fstat(handle), path.stat()):
            break
        os.close(handle)
    os.ftruncate(handle, 0)
    os.write(handle, f"process {os.getpid()} since {dt.datetime.now():%Y-%m-%d %H:%M}".encode())
    os.lseek(handle, 0, os.SEEK_SET)
    return handle


def _let_go(handle: int, path: Path) -> None:
    if sys.platform == "win32":  # an open file can't be taken away there
        os.close(handle)
        with suppress(PermissionError):  # the next run holds it already
            path.unlink(missing_ok=True)
        return
    path.unlink(missing_ok=True)
    os.close(handle)


def _is_taken(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return True
    return False
