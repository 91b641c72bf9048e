"""Tables written as a web page or as workbook XML, which many programs call .xls."""

from collections import Counter
from html.parser import HTMLParser
from xml.etree import ElementTree

from dutylife.intake.readers.encoding import decoded
from dutylife.intake.readers.levels import levels_of
from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import Sheet, Source, no_table, sheet_of
from dutylife.intake.readers.structured import tables_in
from dutylife.settings import Export

_CELLS = {"td", "th", "ss:cell", "cell"}
_ROWS = {"tr", "ss:row", "row"}
_TABLES = {"table", "ss:table"}
_SILENT = {"script", "style"}
# no shop's table is wider or deeper merged than this; a larger number is a slip or a trap
_MOST_SPAN = 1000


def read_markup(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read every table of a web page or workbook XML.

    Raises
    ------
    ExportError
        It holds no table of two columns.
    """
    found = decoded(source, export.encoding, key)
    if "<!ENTITY" in found.text:
        raise no_table(
            "The file declares names that grow into text, which no export needs.", source,
            "do not use it; ask who sent it for a new one",
        )  # fmt: skip
    page = _Page()
    page.feed(found.text)
    page.close()
    tables = [t for t in page.tables if t and max(len(r) for r in t) > 1]
    if not tables and found.text.lstrip().startswith("<?xml"):
        return _records(source, export)
    if not tables:
        raise no_table(
            "This is a web page, not a table.", source, "export it as csv or as a workbook"
        )
    # tables of the page's frame are small; the export is the one with most rows
    tables.sort(key=len, reverse=True)
    names = [page.names.get(id(t), "") for t in tables]
    return [
        sheet_of(
            source,
            name or (f"table {i}" if len(tables) > 1 else ""),
            rows,
            encoding=found.encoding,
            notes=found.notes,
        )
        for i, (name, rows) in enumerate(zip(names, tables, strict=True), 1)
    ]


def _records(source: Source, export: Export) -> list[Sheet]:
    """Records of plain XML, tickets with their items at any depth, as those of a JSON file."""
    try:
        root = ElementTree.fromstring(source.data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        row = getattr(error, "position", (0, 0))[0]
        raise no_table(
            f"The XML breaks off or is not well formed: {error}.", source,
            "correct that row, or export the file again; it may have been cut off", row,
        ) from error  # fmt: skip
    lists = {
        (parent.tag, tag)
        for parent in root.iter()
        for tag, n in Counter(child.tag for child in parent).items()
        if n > 1
    }
    try:
        tables = tables_in("", _record(root, lists))
    except RecursionError as error:
        raise no_table("Records lie too deep in each other.", source, "export it flat") from error
    if not any(isinstance(r, dict) for _, records in tables for r in records):
        raise no_table("The XML holds no records.", source, "export it as csv or as a workbook")
    return levels_of(source, tables, export.decimal)


def _record(element: ElementTree.Element, lists: set[tuple[str, str]]) -> object:
    """Attributes and children as fields; a child that is ever repeated there is always a list."""
    out: dict[str, object] = dict(element.attrib)
    for child in element:
        name = child.tag.rpartition("}")[2]
        value = _record(child, lists)
        if (element.tag, child.tag) in lists:
            known = out.setdefault(name, [])
            if isinstance(known, list):
                known.append(value)
            else:  # an attribute of the same name
                out[name] = [known, value]
        else:
            out[name] = value
    text = (element.text or "").strip()
    if not out:
        return text
    return {**out, "value": text} if text else out


class _Page(HTMLParser):
    """Collects the cells of each table; a cell over several rows stands in each of them."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[list[list[str]]] = []
        self.names: dict[int, str] = {}
        self._open: list[list[list[str]]] = []
        self._down: list[dict[int, tuple[int, str]]] = []
        self._text: list[str] | None = None
        self._span = (1, 1)
        self._silent = 0
        self._sheet = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {k: v or "" for k, v in attrs}
        if tag in _SILENT:
            self._silent += 1
        elif tag in ("worksheet", "ss:worksheet"):
            self._sheet = given.get("ss:name", "")
        elif tag in _TABLES:
            self._end_cell()  # of the table around it, which is the page's frame
            self._open.append([])
            self._down.append({})
            self.tables.append(self._open[-1])
            self.names[id(self._open[-1])] = self._sheet
        elif tag in _ROWS and self._open:
            self._end_cell()
            self._fill_above()
            self._open[-1].append([])
        elif tag in _CELLS and self._open and self._open[-1]:
            self._end_cell()
            row = self._open[-1][-1]
            self._take_from_above(row)
            if "ss:index" in given:  # workbook XML leaves out blank cells and says so
                row += [""] * (_number(given["ss:index"]) - 1 - len(row))
            self._text = []
            across = _number(given.get("colspan", "1")) + _number(given.get("ss:mergeacross", "0"))
            self._span = (max(1, across), max(1, _number(given.get("rowspan", "1"))))
        elif tag == "br" and self._text is not None:
            self._text.append("\n")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag in _CELLS:
            self._end_cell()
        elif tag in _SILENT:
            self._silent = max(0, self._silent - 1)

    def handle_endtag(self, tag: str) -> None:
        if tag in _SILENT:
            self._silent = max(0, self._silent - 1)
        elif tag in _CELLS | _ROWS:
            self._end_cell()
            if tag in _ROWS:
                self._fill_above()
        elif tag in _TABLES and self._open:
            self._end_cell()
            self._open.pop()
            self._down.pop()

    def handle_data(self, data: str) -> None:
        if self._text is not None and not self._silent:
            self._text.append(data)

    def _end_cell(self) -> None:
        if self._text is None or not self._open or not self._open[-1]:
            return
        row = self._open[-1][-1]
        text = "".join(self._text).strip()
        across, down = self._span
        if down > 1:
            self._down[-1][len(row)] = (down - 1, text)
        row += [text, *[""] * (across - 1)]
        self._text = None

    def _take_from_above(self, row: list[str]) -> None:
        down = self._down[-1]
        while len(row) in down and row is self._open[-1][-1] and len(self._open[-1]) > 1:
            left, text = down[len(row)]
            if left == 0:
                break
            down[len(row)] = (left - 1, text)
            row.append(text)

    def _fill_above(self) -> None:
        if self._open and self._open[-1]:
            self._take_from_above(self._open[-1][-1])


def _number(text: str) -> int:
    return min(int(text), _MOST_SPAN) if text.strip().isdecimal() else 0


def _looks_marked(head: bytes) -> bool:
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()[:200].lower()
    return start.startswith((b"<!doctype html", b"<html", b"<table", b"<?xml", b"<head", b"<meta"))


READER = Reader(
    name="markup", endings=(".html", ".htm", ".xml"), read=read_markup, is_mine=_looks_marked
)
