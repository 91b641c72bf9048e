"""Troubles of a disk as one message: what, where, how to mend it."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dutylife.errors import DutylifeError, RunError

_WORDS = {
    errno.ENOSPC: ("there is no space left on the disk", "make room there, or give another --out"),
    errno.EDQUOT: ("your share of the disk is used up", "make room there, or give another --out"),
    errno.EFBIG: ("a file would be larger than the system allows", "raise the limit, or ask who "
                  "runs this machine"),
    errno.EROFS: ("the disk is read only", "give another --out"),
    errno.EACCES: ("you may not write there", "give another --out, or ask for the right"),
    errno.EPERM: ("you may not write there", "give another --out, or ask for the right"),
    errno.EIO: ("the disk does not take or give data", "copy your files from it and have it "
                "looked at; give another --out"),
    errno.ENAMETOOLONG: ("the path is longer than the system allows", "give a shorter --out"),
    errno.ENOTDIR: ("something in the path is a file", "give another --out"),
    errno.EEXIST: ("something in the way could not be taken away", "give another --out, or remove "
                   "it yourself"),
    errno.ELOOP: ("a link is in the way", "give another --out, or remove the link yourself"),
    errno.EMFILE: ("too many files are open", "close other programs and run again"),
}  # fmt: skip
# libraries that write tell the system's error in words alone
_SAID = {
    "no space left": errno.ENOSPC, "disk quota": errno.EDQUOT, "file too large": errno.EFBIG,
    "read-only file system": errno.EROFS, "permission denied": errno.EACCES,
    "input/output error": errno.EIO,
}  # fmt: skip


def trouble_of(error: BaseException, where: str) -> RunError | None:
    """Return the message for an error that a disk caused; None for any other.

    Parameters
    ----------
    error : BaseException
        Also one that was raised while an error of the disk was dealt with.
    where : str
        What was being written.
    """
    seen: BaseException | None = error
    while seen is not None:
        number = seen.errno if isinstance(seen, OSError) else None
        library = type(seen).__module__.partition(".")[0]
        if number is None and library in ("duckdb", "_duckdb", "xlsxwriter"):
            said = str(seen).casefold()
            number = next((n for words, n in _SAID.items() if words in said), None)
        if number in _WORDS:
            what, mend = _WORDS[number]
            file = getattr(seen, "filename", None)
            return RunError(
                f"Nothing could be written: {what}.", str(file) if file else where,
                f"{mend}; what was there before is untouched",
            )  # fmt: skip
        seen = seen.__cause__ or seen.__context__
    return None


@contextmanager
def in_our_words(where: Path) -> Iterator[None]:
    """Tell troubles of the disk in our words; other errors pass.

    Raises
    ------
    RunError
        The disk is full, may not be written to, and the like.
    """
    try:
        yield
    except DutylifeError:
        raise
    except Exception as error:
        told = trouble_of(error, str(where))
        if told is None:
            raise
        raise told from error
