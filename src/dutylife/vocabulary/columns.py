"""Every column, its unit and its words, declared once.

A column means the same wherever it stands; ``_lower`` and ``_upper`` inherit from their base.
"""

from dataclasses import replace

from dutylife.vocabulary.kinds import Column
from dutylife.vocabulary.of_decisions import OF_DECISIONS
from dutylife.vocabulary.of_history import OF_HISTORY
from dutylife.vocabulary.of_models import OF_MODELS
from dutylife.vocabulary.of_proofs import OF_PROOFS
from dutylife.vocabulary.of_record import OF_RECORD
from dutylife.vocabulary.of_stock import OF_STOCK

DECLARED = (*OF_RECORD, *OF_MODELS, *OF_DECISIONS, *OF_STOCK, *OF_HISTORY, *OF_PROOFS)
COLUMNS: dict[str, Column] = {c.name: c for c in DECLARED}


def column(name: str) -> Column:
    """Declaration of a column; ``x_lower`` and ``x_upper`` inherit from ``x``.

    Raises
    ------
    KeyError
        The vocabulary has no such column.

    Examples
    --------
    >>> column("scale_hours_lower").unit
    'fleet meter unit'
    """
    if name in COLUMNS:
        return COLUMNS[name]
    for end in ("_lower", "_upper"):
        if name.endswith(end) and name.removesuffix(end) in COLUMNS:
            return replace(COLUMNS[name.removesuffix(end)], name=name)
    raise KeyError(f"column '{name}' is not in the vocabulary")
