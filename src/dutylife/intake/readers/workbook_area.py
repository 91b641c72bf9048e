"""A cell far outside the table makes a workbook's area too large for any memory: refused before."""

import io
import re
import zipfile
import zlib

from dutylife.intake.readers.sheet import Source, no_table

# rows times columns; a table of a million rows and a hundred columns is still read
MOST_CELLS = 120_000_000
MOST_BYTES = 2 << 30
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
        sizes = [i.file_size for i in book.infolist()]
        names = [n for n in book.namelist() if n.startswith("xl/worksheets/") or n == "content.xml"]
        parts = {n: book.read(n) for n in names if sum(sizes) <= MOST_BYTES}
    except (zipfile.BadZipFile, zlib.error, ValueError, NotImplementedError, OSError, EOFError):
        return  # an old or damaged workbook: the reader itself says what is wrong with it
    if sum(sizes) > MOST_BYTES:
        raise no_table(
            f"The workbook is larger than {MOST_BYTES / 1e6:.0f} MB when unpacked.", source,
            "export the lines as csv",
        )  # fmt: skip
    for name, xml in parts.items():
        if name != "content.xml":
            _require_sheet(xml, source)
        elif _REPEATED.search(xml):
            raise no_table(
                "A cell of the workbook is repeated thousands of times.", source,
                "save the lines as csv, or delete the rows and columns beyond the table",
            )  # fmt: skip


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
