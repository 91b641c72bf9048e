"""Content keys: what a text and a part's description say, without how they were typed or when."""

import re
import unicodedata

from dutylife.provenance import digest_of

_SPACES = re.compile(r"\s+")
_KEY = re.compile(r"k[0-9a-f]{12}")
_RUNS = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet takes such a cell for a formula


def normalised(text: str) -> str:
    """Text without case, accents written in two signs, doubled blanks and outer blanks.

    Examples
    --------
    >>> normalised("  Plug  OK ")
    'plug ok'
    """
    return _SPACES.sub(" ", unicodedata.normalize("NFC", text).casefold()).strip()


def content_key(text: str, part_description: str = "") -> str:
    """Key of a work text or of a part line's description; begins with a letter.

    It holds nothing of file, row, ticket or date, so it is the same in every later export.
    """
    return "k" + digest_of(normalised(text), normalised(part_description))[:12]


def is_key(value: str) -> bool:
    """Whether a cell is a content key."""
    return _KEY.fullmatch(value) is not None


def harmless(text: str) -> str:
    """A cell that a spreadsheet would run gets an apostrophe in front.

    Examples
    --------
    >>> harmless("=1+1"), harmless("plug")
    ("'=1+1", 'plug')
    """
    return "'" + text if text.lstrip(" ").startswith(_RUNS) or text.startswith(_RUNS) else text


def as_typed(cell: str) -> str:
    """Undo `harmless`."""
    return cell[1:] if cell.startswith("'") and harmless(cell[1:]) == cell else cell
