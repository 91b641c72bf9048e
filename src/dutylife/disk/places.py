"""Whether a path given by a person names a file."""

from pathlib import Path


def is_file(path: Path) -> bool:
    """Whether a file stands there; False for a path that no file can have.

    A name longer than the file system allows, or one with a zero byte, is no fault of the disk: the
    question whether there is such a file has an answer.
    """
    try:
        return path.is_file()
    except (OSError, ValueError) as error:
        if isinstance(error, PermissionError):
            raise
        return False
