"""One row of the findings table; grouped rows are counted first, then the first few are listed."""

from collections.abc import Iterable
from typing import Any

from dutylife.provenance import digest_of

SHOWN = 5  # rows or words listed in a finding; the count stands before them


def finding(
    stage: str,
    kind: str,
    message: str,
    *,
    mend: str = "",
    table: str = "",
    key: str = "",
    source_file: str = "",
    source_row: int = 0,
) -> dict[str, Any]:
    """Return one finding as a row; its id is the same whenever it says the same."""
    return {
        "finding_id": digest_of(stage, table, key, source_file, message),
        "stage": stage,
        "kind": kind,
        "table": table or None,
        "key": key,
        "source_file": source_file or None,
        "source_row": source_row,
        "message": message,
        "mend": mend,
    }


def first_few(items: Iterable[Any]) -> str:
    """Return the first few items as text, and how many more there are.

    Examples
    --------
    >>> first_few([3, 8, 9]), first_few(range(9))
    ('3, 8, 9', '0, 1, 2, 3, 4 and 4 more')
    """
    known = list(items)
    text = ", ".join(str(i) for i in known[:SHOWN])
    return text + (f" and {len(known) - SHOWN} more" if len(known) > SHOWN else "")
