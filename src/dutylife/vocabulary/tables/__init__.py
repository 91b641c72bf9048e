"""Every table, declared once: what a row is, its key, its columns in order."""

from dutylife.vocabulary.tables.decisions import DECISIONS
from dutylife.vocabulary.tables.declare import Table
from dutylife.vocabulary.tables.history import HISTORY
from dutylife.vocabulary.tables.models import MODELS
from dutylife.vocabulary.tables.proofs import PROOFS
from dutylife.vocabulary.tables.record import RECORD
from dutylife.vocabulary.tables.stock import STOCK

TABLES: dict[str, Table] = {
    t.name: t for t in (*RECORD, *MODELS, *DECISIONS, *STOCK, *HISTORY, *PROOFS)
}

__all__ = ["TABLES", "Table"]
