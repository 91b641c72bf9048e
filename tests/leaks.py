"""Every text a file could give away, however it is wrapped; for tests of what must not be in it."""

import base64
import html
import io
import re
import zipfile
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import unquote

_DATA = re.compile(r"data:[\w/+.;=-]*?(;base64)?,([A-Za-z0-9+/=%_.~-]+)")
_PNG = b"\x89PNG\r\n\x1a\n"


def texts_in(path: Path) -> list[str]:
    """All readings of a file's bytes: plain, unescaped, unfolded, unzipped, embedded."""
    return _readings(path.read_bytes())


def _readings(data: bytes) -> list[str]:
    if zipfile.is_zipfile(io.BytesIO(data)):
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            inner = [t for name in parts.namelist() for t in _readings(parts.read(name))]
            return [*parts.namelist(), *inner]
    if data.startswith(_PNG):
        return [_png_texts(data), data.decode("latin-1")]
    text = data.decode("utf-8", errors="replace")
    found = [text, data.decode("latin-1")]
    unfolded = re.sub(r"\r?\n[ \t]", "", text)
    for plain in (text, unfolded):
        unescaped = html.unescape(html.unescape(plain))
        untagged = re.sub(r"<[^>]*>", "", unescaped)
        found += [plain, unescaped, untagged, unquote(plain), re.sub(r"\\(.)", r"\1", plain)]
        # our page sets thousands apart by a narrow space, and cells break over lines
        found += [re.sub(r"\s+", " ", unescaped)]
    for is_coded, held in _DATA.findall(text):
        inner = base64.b64decode(held + "==") if is_coded else unquote(held).encode()
        found += _readings(inner)
    return found


def _png_texts(data: bytes) -> str:
    """Text chunks of a picture, unpacked."""
    import zlib

    out, at = [], len(_PNG)
    while at + 8 <= len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + size]
        if kind in (b"tEXt", b"eXIf"):
            out.append(body.decode("latin-1"))
        elif kind in (b"zTXt", b"iTXt"):
            _, _, rest = body.partition(b"\0")
            for start in range(min(len(rest), 40)):
                try:
                    out.append(zlib.decompress(rest[start:]).decode("utf-8", "replace"))
                except zlib.error:
                    continue
            out.append(rest.decode("utf-8", "replace"))
        at += 12 + size
    return "\n".join(out)


def leaked(path: Path, words: Iterable[str]) -> list[str]:
    """Words of others that stand in a file, as whole words, in whatever wrapping."""
    texts = set(texts_in(path))
    return [
        word
        for word in words
        if any(word in t and re.search(rf"(?<!\w){re.escape(word)}(?!\w)", t) for t in texts)
    ]


def tokens_in(path: Path) -> set[str]:
    """Every run of letters, digits and hyphens of a file's texts: machine and ticket numbers."""
    return {t for text in texts_in(path) for t in re.findall(r"\w[\w-]*", text)}
