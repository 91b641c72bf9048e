"""A cell far outside the table makes a workbook's area too large for any memory: refused before."""

import io
import lzma
import re
import zipfile
import zlib

from dutylife.intake.readers.sheet import Source, no_table

# rows times columns; a table of a million rows and a hundred columns is still read
MOST_CELLS = 120_000_000
MOST_BYTES = 2 << 30
# a part that grows more than this is no sheet of a shop; small ones may be all blanks
MOST_GROWTH = 250
SMALL_BYTES = 10 << 20
_PROLOGUE = 4096  # names are declared at the top
_ROW = re.compile(rb'<row [^>]*?r="(\d+)"')
# columns of one letter are never far
_FAR_COLUMN = re.compile(rb'<c [^>]*?r="([A-Z]{2,3})(\d+)"')
_REPEATED = re.compile(
    rb'<table:table-cell [^>]*?number-columns-repeated="(\d{4,})"[^>]*?office:value-type'
    rb'|<table:table-row [^>]*?number-rows-repeated="(\d{6,})"[^>]*?>'
    rb"<table:table-cell [^>]*?office:value-type"
)


def require_area(source: Source) -> None:
    """Raise unless every sheet of an .xlsx or .ods covers an area that can be held.

    Raises
    ------
    ExportError
        A sheet is too large, with the cell that makes it so; or the whole workbook is.
    """
    try:
        book = zipfile.ZipFile(io.BytesIO(source.data))
        infos = book.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return  # an old or damaged workbook: the reader itself says what is wrong with it
    if sum(i.file_size for i in infos) > MOST_BYTES:
        raise no_table(
            f"The workbook is larger than {MOST_BYTES / 1e6:.0f} MB when unpacked.", source,
            "export the lines as csv",
        )  # fmt: skip
    parts: dict[str, bytes] = {}
    for info in infos:
        xml = _unpacked(book, info, source)
        if info.filename.startswith("xl/worksheets/") or info.filename == "content.xml":
            parts[info.filename] = xml
        if b"<!ENTITY" in xml[:_PROLOGUE]:
            raise no_table(
                "The workbook declares names that grow into text, which no workbook needs.", source,
                "do not use it; ask who sent it for a new one",
            )  # fmt: skip
    for name, xml in parts.items():
        if name != "content.xml":
            _require_sheet(xml, source)
        elif _REPEATED.search(xml):
            raise no_table(
                "A cell of the workbook is repeated thousands of times.", source,
                "save the lines as csv, or delete the rows and columns beyond the table",
            )  # fmt: skip


def _unpacked(book: zipfile.ZipFile, info: zipfile.ZipInfo, source: Source) -> bytes:
    """One part of the workbook, no larger than it says and than such a part can be."""
    if info.file_size > max(SMALL_BYTES, MOST_GROWTH * max(1, info.compress_size)):
        raise no_table(
            f"A part of the workbook grows from {info.compress_size} to {info.file_size} bytes, "
            "which no workbook's does.", source, "do not use it; ask who sent it for a new one",
        )  # fmt: skip
    try:
        with book.open(info) as stream:
            return stream.read(info.file_size + 1)
    except (
        zipfile.BadZipFile, zlib.error, lzma.LZMAError, ValueError, NotImplementedError, OSError,
        EOFError, RuntimeError,
    ) as error:  # fmt: skip
        # a part that is not as long as it says is not handed on: it may have no end
        raise no_table(
            f"The workbook can't be opened: a part of it is damaged ({error}).", source,
            "save it again as .xlsx, without a password",
        ) from error  # fmt: skip


def _require_sheet(xml: bytes, source: Source) -> None:
    last = xml.rfind(b"<row ")
    found = _ROW.match(xml, last) if last >= 0 else None
    n_rows = int(found[1]) if found else xml.count(b"<row")
    widest, cell = 26, ""
    for match in _FAR_COLUMN.finditer(xml):
        number = 0
        for letter in match[1]:
            number = number * 26 + letter - 64
        if number > widest:
            widest, cell = number, (match[1] + match[2]).decode()
    if n_rows * widest > MOST_CELLS:
        far = cell or f"row {n_rows}"
        raise no_table(
            f"A sheet reaches to {far} and row {n_rows}, far beyond any table.", source,
            f"delete the contents of {far} and of the last row, and save it again", n_rows,
        )  # fmt: skip
