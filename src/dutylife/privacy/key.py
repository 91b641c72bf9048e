"""The key of the pseudonyms: from an environment variable, else from a file beside the months."""

import os
import secrets
from pathlib import Path

from dutylife.disk import in_our_words
from dutylife.errors import RunError

KEY_FILE = "anonymise.key"
KEY_VARIABLE = "DUTYLIFE_ANONYMISE_KEY"
_LEAST_SIGNS = 16


def key_in(history: Path) -> tuple[bytes, str]:
    """Return the key, and where it is; made at random where there is none.

    Parameters
    ----------
    history : Path
        Folder of the months. The key's file lies in it, readable by its owner alone, and never
        goes into a run's folder: who has it can test whether a name stands behind a pseudonym.

    Returns
    -------
    tuple of (bytes, str)

    Raises
    ------
    RunError
        The key is too short, or its file can't be read or made.
    """
    path = history / KEY_FILE
    text = os.environ.get(KEY_VARIABLE, "").strip()
    where = f"the environment variable {KEY_VARIABLE}" if text else str(path)
    if not text:
        with in_our_words(path):
            text = path.read_text(encoding="ascii").strip() if path.is_file() else _made(path)
    if len(text) < _LEAST_SIGNS:
        raise RunError(
            f"The key of the pseudonyms has {len(text)} signs; at least {_LEAST_SIGNS} are needed.",
            where, "put the old key back; with another one every pseudonym is another",
        )  # fmt: skip
    return text.encode(), where


def _made(path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    text = secrets.token_hex(32)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(text + "\n")
    return text
