"""Bytes to text: the encoding by evidence of the whole file, stray bytes counted, none lost."""

import codecs
import re
from dataclasses import dataclass

from dutylife.errors import ExportError, SettingsError
from dutylife.intake.readers.sheet import ReadNote, Source

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# single-byte pages tried on text that is not Unicode, the likeliest first
_PAGES = ("cp1252", "cp850", "mac_roman")
_HIGH = re.compile(rb"[\x80-\xff]+")
# a byte of a word has letters beside it; signs such as the euro or degree have not
_IN_WORD = re.compile(rb"(?<=[A-Za-z])[\x80-\xff](?=[A-Za-z])")
_MANY_NULS = 0.1


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text of a file, its encoding, and what had to be mended in it."""

    text: str
    encoding: str
    notes: tuple[ReadNote, ...] = ()


def decoded(source: Source, stated: str, key: str) -> Decoded:
    """Decode a file.

    Parameters
    ----------
    source : Source
    stated : str
        Encoding of the settings; blank means by evidence.
    key : str

    Raises
    ------
    SettingsError
        The stated encoding does not exist.
    ExportError
        The file is not text, or not in the stated encoding.
    """
    data = source.data
    encoding = stated or encoding_of(data)
    try:
        if not codecs.lookup(encoding)._is_text_encoding:  # zlib and the like: bytes to bytes
            raise LookupError(encoding)
        found = Decoded(codecs.decode(data, encoding), encoding)
        if encoding == "utf-8" and found.text.startswith("\ufeff"):
            found = Decoded(found.text[1:], encoding)
    except LookupError as error:
        raise SettingsError(
            f"'{encoding}' is not a text encoding.", f"{key}.encoding", 'for example "cp1252"'
        ) from error
    except UnicodeError as error:
        line = data[: getattr(error, "start", 0)].count(b"\n") + 1
        if stated:
            raise ExportError(
                f"The file is not readable as {encoding}.",
                f"{source.name}, row {line}",
                f"set the key encoding in {key} to {encoding_of(data)}, or leave it out",
            ) from error
        found = _mended(data, encoding)
    return _without_nuls(found, source, key)


def encoding_of(data: bytes) -> str:
    """Return the encoding the bytes speak for.

    Examples
    --------
    >>> encoding_of("Gehäuse".encode()), encoding_of("Gehäuse".encode("cp1252"))
    ('utf-8', 'cp1252')
    >>> encoding_of("Gehäuse".encode("utf-16-le")), encoding_of("Gehäuse".encode("cp850"))
    ('utf-16-le', 'cp850')
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name
    wide = _wide(data)
    if wide:
        return wide
    if data.isascii():
        return "utf-8"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "utf-8" if _mostly_utf8(data) else _page(data)
    return "utf-8"


def _wide(data: bytes) -> str:
    """UTF-16 without a mark shows as zero bytes in every second place."""
    head = data[: 1 << 16]
    if len(head) < 4 or b"\x00" not in head:
        return ""
    half = len(head) // 2
    even, odd = head[::2].count(0) / half, head[1::2].count(0) / half
    if odd > 0.4 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.4 and odd < 0.05 else ""


def _mostly_utf8(data: bytes) -> bool:
    """Several whole UTF-8 letters for each stray byte: the stray ones were pasted in."""
    n_whole = n_stray = 0
    for run in _HIGH.findall(data):
        text = run.decode("utf-8", errors="replace")
        stray = text.count("\ufffd")
        n_stray += stray
        n_whole += len(text) - stray
    return n_whole > 2 * n_stray


def _page(data: bytes) -> str:
    """The page in which most bytes inside words are small or capital letters of Western Europe."""
    inside = b"".join(_IN_WORD.findall(data)) or b"".join(_HIGH.findall(data))
    scores = []
    for page in _PAGES:
        text = inside.decode(page, errors="replace")
        scores.append(sum(c in _LETTERS for c in text))
    return _PAGES[scores.index(max(scores))]


_LETTERS = frozenset("àáâãäåæçèéêëìíîïñòóôõöøùúûüýÿœšžßÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÑÒÓÔÕÖØÙÚÛÜÝŒŠŽ")


def _mended(data: bytes, encoding: str) -> Decoded:
    """Decode what is sound; stray bytes are read as cp1252, and as the sign U+FFFD beyond it."""
    strays: list[int] = []

    def stray(error: UnicodeError) -> tuple[str, int]:
        start, end = getattr(error, "start", 0), getattr(error, "end", 0)
        strays.append(start)
        return data[start:end].decode("cp1252", errors="replace"), end

    name = f"dutylife-{encoding}"
    codecs.register_error(name, stray)
    text = codecs.decode(data, encoding, name)
    first = data[: strays[0]].count(b"\n") + 1
    note = ReadNote(
        f"{len(strays)} bytes are no {encoding} and were read one by one (first in row {first}); "
        "letters there may be wrong.",
        "look at these rows, or export the file again as UTF-8",
        first,
    )
    return Decoded(text.removeprefix("\ufeff"), encoding, (note,))


def _without_nuls(found: Decoded, source: Source, key: str) -> Decoded:
    if "\x00" not in found.text:
        return found
    n_nuls = found.text.count("\x00")
    if n_nuls > _MANY_NULS * len(found.text):
        raise ExportError(
            "This is not a table: the file holds binary data.",
            source.name,
            f'export it as csv; if it is text, set encoding in {key}, for example "utf-16"',
        )
    first = found.text[: found.text.index("\x00")].count("\n") + 1
    note = ReadNote(
        f"{n_nuls} zero bytes were left out (first in row {first}); the export may have been cut "
        "off while it was written.",
        "look at these rows; export the file again if rows are missing",
        first,
        "ask",
    )
    return Decoded(found.text.replace("\x00", ""), found.encoding, (*found.notes, note))
