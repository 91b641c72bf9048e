"""Secrets come from environment variables alone, and go into no message, page or file."""

import os
import re

from dutylife.errors import SettingsError

VARIABLE = re.compile(r"\$\{(\w+)\}")
_TAKEN: set[str] = set()  # values handed out in this process
# a shorter value stands in too many words by chance, and guards nothing
_LEAST_SIGNS = 4


def secret(name: str, key: str) -> str:
    """Value of an environment variable that settings name.

    Parameters
    ----------
    name : str
        The variable.
    key : str
        The settings key that names it, for the message.

    Raises
    ------
    SettingsError
        It is not set.
    """
    if name not in os.environ:
        raise SettingsError(
            f"The environment variable {name} is not set.", key,
            f"set it before the run, for example export {name}=...",
        )  # fmt: skip
    value = os.environ[name]
    if len(value) >= _LEAST_SIGNS:
        _TAKEN.add(value)
    return value


def without_secrets(text: str) -> str:
    """Text in which every secret handed out so far is hidden."""
    for value in sorted(_TAKEN, key=len, reverse=True):
        for told in {value, repr(value)[1:-1]}:
            text = text.replace(told, "(secret)")
    return text
