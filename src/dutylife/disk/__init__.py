"""What a disk can do to a run: one writer at a time, swaps in one step, its troubles in words."""

from dutylife.disk.lock import alone_in
from dutylife.disk.swap import put_in_place, removed, restored, write_whole
from dutylife.disk.trouble import in_our_words, trouble_of

__all__ = [
    "alone_in", "in_our_words", "put_in_place", "removed", "restored", "trouble_of", "write_whole",
]  # fmt: skip
