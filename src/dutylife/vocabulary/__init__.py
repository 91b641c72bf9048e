"""Every table, column, unit and word, declared once. Words follow ISO 14224 and IEC 60050-192."""

from dutylife.vocabulary.columns import COLUMNS, column
from dutylife.vocabulary.kinds import WORDS, Column
from dutylife.vocabulary.tables import TABLES, Table

__all__ = ["COLUMNS", "TABLES", "WORDS", "Column", "Table", "column"]
