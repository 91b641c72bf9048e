"""The readers there are: each one file, found by what the bytes are, then by the name's ending.

A new reader is a module with a `Reader` called READER, named in ``_BUILT_IN`` below, or offered by
an installed package under the entry point group ``dutylife.readers``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import import_module, metadata

from dutylife.errors import ExportError
from dutylife.intake.readers.sheet import Sheet, Source
from dutylife.settings import Export

GROUP = "dutylife.readers"
# in the order in which they are asked whether the bytes are theirs
_BUILT_IN = (
    "workbook",
    "database",
    "parquet",
    "archive",
    "compressed",
    "markup",
    "structured",
    "sql_text",
    "text",
)


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file.

    Parameters
    ----------
    name : str
    endings : tuple of str
        Endings of file names, lower case, with the dot.
    read : callable
        (source, export, key of the settings) -> sheets; raises ExportError when it can't.
    is_mine : callable
        First bytes of a file -> whether they can only be of this kind.
    """

    name: str
    endings: tuple[str, ...]
    read: Callable[[Source, Export, str], list[Sheet]]
    is_mine: Callable[[bytes], bool]


@cache
def readers() -> tuple[Reader, ...]:
    """Return every reader: the ones of other packages first, so that they can take over a kind.

    Raises
    ------
    ExportError
        An installed package offers something that is no reader.
    """
    found: list[Reader] = []
    for point in sorted(metadata.entry_points(group=GROUP), key=lambda p: p.name):
        offered = point.load()
        if not isinstance(offered, Reader):
            raise ExportError(
                f"'{point.value}' is no reader.",
                f"entry point {point.name} of group {GROUP}",
                "it must be a dutylife.intake.readers.Reader; mend or remove that package",
            )
        found.append(offered)
    for name in _BUILT_IN:
        found.append(import_module(f"dutylife.intake.readers.{name}").READER)
    return tuple(found)


def reader_for(source: Source, key: str) -> Reader:
    """Return the reader whose kind the bytes are, else the one of the name's ending, else text.

    Raises
    ------
    ExportError
        The bytes are of a kind that holds no table.
    """
    head = source.data[:4096]
    for reader in readers():
        if reader.is_mine(head):
            return reader
    for start, what in _NO_TABLE.items():
        if head.startswith(start):
            raise ExportError(
                f"This is not a table: the file is {what}.",
                f"{source.name} ({key}.path)",
                "export it as csv or as a workbook",
            )
    ending = source.path.suffix.lower()
    by_ending = [r for r in readers() if ending in r.endings and r.name in _BY_NAME_ALONE]
    return by_ending[0] if by_ending else next(r for r in readers() if r.name == "text")


# first bytes of files that hold no table we can read, whatever their name says
_NO_TABLE = {
    b"%PDF": "a PDF",
    b"7z\xbc\xaf": "a 7z archive",
    b"Rar!": "a RAR archive",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"{\\rtf": "a text document (RTF)",
    b"\x00\x01\x00\x00Standard ": "a desktop database",
}
# a text may be of these kinds though its first bytes do not say so
_BY_NAME_ALONE = ("structured", "sql_text")


def endings() -> list[str]:
    """Return every ending a reader names."""
    return sorted({e for r in readers() for e in r.endings})
