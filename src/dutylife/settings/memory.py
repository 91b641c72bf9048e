"""Sizes of memory as people write them."""

import re

_UNITS = {"mb": 1e6, "gb": 1e9, "mib": 2.0**20, "gib": 2.0**30}
_SIZE = re.compile(r"(\d+(?:\.\d+)?)\s*(mb|gb|mib|gib)", re.IGNORECASE)
LEAST = 512 * 2**20  # the program itself and its libraries take nearly half of it


def bytes_of(size: str) -> int:
    """Return a size such as "8 GiB" in bytes; 0 for an empty text.

    Raises
    ------
    ValueError
        No number with MB, MiB, GB or GiB, or less than 512 MiB.

    Examples
    --------
    >>> bytes_of("8 GiB"), bytes_of("1.5gb"), bytes_of("")
    (8589934592, 1500000000, 0)
    """
    if not size.strip():
        return 0
    found = _SIZE.fullmatch(size.strip())
    if not found:
        raise ValueError('a size of memory is a number with MB, MiB, GB or GiB, such as "8 GiB"')
    size_bytes = int(float(found[1]) * _UNITS[found[2].lower()])
    if size_bytes < LEAST:
        raise ValueError("a run takes 512 MiB at least")
    return size_bytes
