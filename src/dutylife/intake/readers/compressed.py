"""One file compressed with gzip: unpacked in memory, then read as what it is."""

import zlib
from pathlib import Path

from dutylife.errors import ExportError
from dutylife.intake.readers import registry
from dutylife.intake.readers.sheet import Sheet, Source
from dutylife.intake.readers.workbook_area import MOST_BYTES, MOST_GROWTH, SMALL_BYTES
from dutylife.settings import Export


def read_compressed(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read the file inside.

    Raises
    ------
    ExportError
        Damaged or cut off, grows beyond what an export does, or holds another archive.
    """
    data = _unpacked(source)
    if not data:
        raise ExportError("The file is empty (0 bytes).", source.name, "export it again")
    path = source.path.with_suffix("") if source.path.suffix.lower() == ".gz" else source.path
    reader = registry.reader_for(Source(Path(path), source.name, data), key)
    if reader.name in ("archive", "compressed"):
        raise ExportError(
            "An archive inside an archive is not read.", source.name, "unpack it and give its files"
        )
    return reader.read(Source(source.path, source.name, data), export, key)


def _unpacked(source: Source) -> bytes:
    most = min(MOST_BYTES, max(SMALL_BYTES, MOST_GROWTH * len(source.data)))
    out, rest = bytearray(), source.data
    try:
        while rest:  # several packed parts one after the other are one file
            part = zlib.decompressobj(wbits=31)
            out += part.decompress(rest, most + 1 - len(out))
            if len(out) > most:
                raise ExportError(
                    f"The file grows from {len(source.data)} to over {most} bytes, which no export "
                    "does.", source.name, "do not use it; ask who sent it for a new one",
                )  # fmt: skip
            if not part.eof:
                raise ExportError(
                    "The packed file is cut off.", source.name, "copy or export it again"
                )
            rest = part.unused_data
    except zlib.error as error:
        raise ExportError(
            f"The file can't be unpacked: {error}.", source.name, "copy or export it again"
        ) from error
    return bytes(out)


READER = registry.Reader(
    name="compressed",
    endings=(".gz",),
    read=read_compressed,
    is_mine=lambda head: head.startswith(b"\x1f\x8b"),
)
