"""A folder put in the place of another in one step, so that a kill finds one whole or the other."""

import ctypes
import os
import shutil
import sys
from pathlib import Path

_HERE = -100  # AT_FDCWD: paths start at the working directory
_EXCHANGE = 2  # RENAME_EXCHANGE of Linux, RENAME_SWAP of macOS


def put_in_place(new: Path, folder: Path, old: Path) -> None:
    """Put NEW where FOLDER is; what was there is gone afterwards.

    Where the system can't exchange two names in one step, FOLDER is called OLD for a moment;
    a run killed then is mended by `restored`.

    Raises
    ------
    OSError
        It can't be done; FOLDER is as it was.
    """
    if not os.path.lexists(folder):
        new.rename(folder)
        return
    if _exchanged(new, folder):
        removed(new)
        return
    folder.rename(old)
    try:
        new.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    removed(old)


def restored(folder: Path, old: Path) -> None:
    """Bring back the run that a kill between two renames left under its other name."""
    if old.is_dir() and not old.is_symlink() and not os.path.lexists(folder):
        old.rename(folder)


def write_whole(path: Path, text: str) -> None:
    """Write a text file, UTF-8 with LF, so that it appears whole or stays as it was.

    Raises
    ------
    OSError
        It can't be written; nothing is left of the try.
    """
    aside = path.with_name(path.name + ".new")
    try:
        aside.write_text(text, encoding="utf-8", newline="\n")
        aside.replace(path)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise


def removed(path: Path) -> None:
    """Take a folder, file or link away, if it is there; what a link leads to stays."""
    if path.is_symlink() or path.is_file():
        path.unlink()
    elif path.exists():
        shutil.rmtree(path)


def _exchanged(one: Path, two: Path) -> bool:
    """Exchange two names; False where the system has no such call."""
    if sys.platform == "win32":
        return False
    names = os.fsencode(one), os.fsencode(two)
    library = ctypes.CDLL(None, use_errno=True)
    try:
        if sys.platform == "darwin":
            failed = library.renamex_np(*names, _EXCHANGE)
        else:
            failed = library.renameat2(_HERE, names[0], _HERE, names[1], _EXCHANGE)
    except AttributeError:
        return False
    return bool(failed == 0)
