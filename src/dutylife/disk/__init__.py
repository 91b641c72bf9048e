"""Files of a run: one writer at a time, swaps in one step, troubles in words, cells that run."""

from dutylife.disk.csv_text import write_csv
from dutylife.disk.formula import RUNS, as_was, guarded_column
from dutylife.disk.lock import alone_in
from dutylife.disk.places import is_file
from dutylife.disk.swap import put_in_place, removed, restored, write_whole
from dutylife.disk.trouble import in_our_words, trouble_of

__all__ = [
    "RUNS", "as_was", "guarded_column",
    "alone_in", "in_our_words", "is_file", "put_in_place", "removed", "restored", "trouble_of",
    "write_csv", "write_whole",
]  # fmt: skip
