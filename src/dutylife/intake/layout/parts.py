"""Parts of a visit in one row, in groups of columns or in one cell: one row a part."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd

from dutylife.errors import ColumnMissingError, SettingsError
from dutylife.intake.layout.table import RawTable
from dutylife.settings import Export, PartsCell

_NUMBER = r"-?\d+(?:[.,]\d+)?"  # one brought back is below 0
# price: "@ 9.50", "à 9,50"; quantity before ("2 x IC-1"), after ("IC-1 x2") or in brackets
_PRICE = re.compile(r"\s*(?:@|\bà|\bat\b|=)\s*(?P<unit_price>[^\d\s]?\s?\d[\d.,]*)\s*[^\d\s]{0,3}$")
_BEFORE = re.compile(
    rf"(?P<quantity>{_NUMBER})\s*(?:x|×|\*|pcs?\.?|stk\.?|st\.?)\s+(?P<rest>.+)", re.I
)
_AFTER = re.compile(rf"(?P<rest>.+?)\s*(?:\s[x×*]|[×*]|\sx)\s*(?P<quantity>{_NUMBER})", re.I)
_BRACKETS = re.compile(
    rf"(?P<rest>.+?)\s*\(\s*(?:x|×|qty:?)?\s*(?P<quantity>{_NUMBER})\s*(?:x|×|pcs?)?\s*\)", re.I
)
_PART_FIRST = re.compile(
    r"(?P<part_number>[^\s,:]*\d[^\s,:]*)(?:\s*[-:,]\s+|\s+)?(?P<description>.*)"
)
CELL_COLUMNS = ("part_number", "description", "quantity", "unit_price")


def one_row_a_part(raw: RawTable, export: Export, key: str) -> RawTable:
    """Rows of visits to rows of parts; a visit without parts keeps its one row.

    Raises
    ------
    ColumnMissingError
        A column of ``parts`` or ``parts_cell`` is not in the file.
    SettingsError
        The pattern of ``parts_cell`` is malformed.
    """
    if export.parts:
        raw = _from_groups(raw.as_text(), export.parts, key)
    if export.parts_cell is not None:
        raw = _from_cell(raw.as_text(), export.parts_cell, key)
    return raw


def _require(raw: RawTable, wanted: list[str], key: str) -> dict[str, str]:
    folded = {str(c).casefold(): str(c) for c in raw.cells.columns}
    missing = [w for w in wanted if w.casefold() not in folded]
    if missing:
        raise ColumnMissingError(
            f"Columns of the parts are not in the export: {', '.join(missing)}.",
            f"{raw.label}, header row {raw.header_row} ({key})",
            "the file has: " + ", ".join(map(str, raw.cells.columns)),
        )
    return {w: folded[w.casefold()] for w in wanted}


def _from_groups(raw: RawTable, groups: list[dict[str, str]], key: str) -> RawTable:
    named = _require(raw, [c for g in groups for c in g.values()], f"{key}.parts")
    ours = list(dict.fromkeys(o for g in groups for o in g))
    slots = []
    for group in groups:
        slot = pd.DataFrame("", index=raw.cells.index, columns=ours, dtype="object")
        for name, theirs in group.items():
            slot[name] = raw.cells[named[theirs]]
        slots.append(slot)
    used = [(s != "").any(axis=1).to_numpy() for s in slots]
    # the first slot stays where none is filled, so that the visit itself is kept
    used[0] = used[0] | ~np.logical_or.reduce(used)
    rows = np.concatenate([np.flatnonzero(u) for u in used])
    order = np.lexsort([np.concatenate([np.full(u.sum(), i) for i, u in enumerate(used)]), rows])
    parts = pd.concat([s[u] for s, u in zip(slots, used, strict=True)], ignore_index=True)
    rest = raw.cells.drop(columns=list(named.values()))
    return _exploded(raw, rest, rows[order], parts.iloc[order].reset_index(drop=True))


def _exploded(raw: RawTable, rest: pd.DataFrame, rows: np.ndarray, parts: pd.DataFrame) -> RawTable:
    """Repeat the visit's cells beside its parts; a column of the same name steps aside."""
    clash = {c: f"{c} of the row" for c in rest.columns if _ours(str(c)) in parts.columns}
    rest = rest.rename(columns=clash).iloc[rows].reset_index(drop=True)
    return replace(
        raw,
        cells=pd.concat([rest, parts], axis=1),
        source_row=raw.source_row.iloc[rows].reset_index(drop=True),
        fault=raw.fault.iloc[rows].reset_index(drop=True),
    )


def _ours(header: str) -> str:
    return header.lower().replace(" ", "_")


def _from_cell(raw: RawTable, given: PartsCell, key: str) -> RawTable:
    column = _require(raw, [given.column], f"{key}.parts_cell")[given.column]
    pattern = _checked(given.pattern, key)
    pieces = [
        [p for p in (" ".join(p.split()) for p in cell.split(given.separator)) if p] or [""]
        for cell in raw.cells[column]
    ]
    rows = np.repeat(np.arange(len(pieces)), [len(p) for p in pieces])
    flat = [p for cell in pieces for p in cell]
    taken_apart = _by_pattern(flat, pattern) if pattern else [_part(p) for p in flat]
    parts = pd.DataFrame(taken_apart, columns=list(CELL_COLUMNS))
    if not pattern:
        parts = _one_where_unsaid(parts)
    return _exploded(raw, raw.cells.drop(columns=column), rows, parts.astype("object"))


def _one_where_unsaid(parts: pd.DataFrame) -> pd.DataFrame:
    """A piece without a quantity is one; bare words among pieces that have theirs are a note."""
    unsaid = (parts["quantity"] == "") & (parts != "").any(axis=1)
    is_bare = (parts["part_number"] == "") & (parts["unit_price"] == "")
    others_say = bool((parts["quantity"] != "").any())
    one = unsaid & ~(is_bare & others_say)
    return parts.assign(quantity=parts["quantity"].mask(one, "1"))


def _checked(pattern: str, key: str) -> str:
    """The pattern, of which every part of a cell must be wholly made; blank where none is given."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pattern:
        return ""
    whole = f"^(?:{_of_all_letters(pattern)})$"
    try:
        names = set(re.compile(pattern).groupindex)
        pc.extract_regex(pa.array(["x"]), pattern=whole)
    except (re.error, RecursionError, OverflowError, pa.ArrowInvalid) as error:
        if isinstance(error, pa.ArrowInvalid) and "(?P<" not in pattern:
            names = set()
        else:
            raise SettingsError(
                f"The pattern is malformed: {error}.", f"{key}.parts_cell.pattern",
                "correct it; looking ahead or back, references to a group and groups without a "
                "name are not understood: (?:...) groups without one",
            ) from error  # fmt: skip
    strange = names - set(CELL_COLUMNS)
    if strange or not names:
        raise SettingsError(
            "The pattern has no groups, or groups of other names"
            + (f": {', '.join(sorted(strange))}." if strange else "."),
            f"{key}.parts_cell.pattern",
            "name its groups: " + ", ".join(CELL_COLUMNS),
        )
    return whole


def _of_all_letters(pattern: str) -> str:
    """The pattern with letters, digits and blanks of every language for the engine's classes.

    The engine's own are those of English only: an umlaut would end a word.
    """
    wide = {"w": r"\pL\pN_", "d": r"\p{Nd}", "s": r"\s\p{Z}"}
    out, in_class, at = [], False, 0
    while at < len(pattern):
        sign, following = pattern[at], pattern[at + 1 : at + 2]
        if sign == "\\" and following:
            told = wide.get(following)
            out.append((told if in_class else f"[{told}]") if told else sign + following)
            at += 2
            continue
        in_class = sign == "[" or (in_class and sign != "]")
        out.append(sign)
        at += 1
    return "".join(out)


def _by_pattern(pieces: list[str], pattern: str) -> list[tuple[str, ...]]:
    """Parts by a pattern from the settings.

    Its time grows with the length of the text alone, whatever the pattern (RE2, by arrow): with
    the other kind of engine a careless pattern on one long cell never ends.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    texts = [p.encode("utf-8", "replace").decode() for p in pieces]
    found = pc.extract_regex(pa.array(texts, pa.string()), pattern=pattern).to_pylist()
    out = []
    for piece, groups in zip(pieces, found, strict=True):
        known = groups if groups is not None and piece else {"description": piece}
        out.append(tuple((known.get(c) or "").strip() for c in CELL_COLUMNS))
    return out


def _part(piece: str) -> tuple[str, ...]:
    """Part number, description, quantity, price; what can't be taken apart is the description."""
    if not piece:
        return ("", "", "", "")
    price = _PRICE.search(piece)
    rest = piece[: price.start()] if price else piece
    quantity = ""
    for form in (_BEFORE, _AFTER, _BRACKETS):
        found = form.fullmatch(rest)
        if found:
            quantity, rest = found["quantity"], found["rest"]
            break
    named = _PART_FIRST.fullmatch(rest.strip())
    number, text = (named["part_number"], named["description"]) if named else ("", rest)
    return (number, text.strip(), quantity, price["unit_price"].strip() if price else "")
