"""Parts of a visit in one row: groups of numbered columns, or a cell that lists them."""

import re
from dataclasses import dataclass

import pandas as pd

from dutylife.draft.names import name_score
from dutylife.settings import PartsCell

_NUMBERED = re.compile(r"(?P<before>.*?)[\s_.\-#(\[]*(?P<number>\d{1,2})[)\]]?(?P<after>[^\d]*)")
_SLOT = ("part_number", "description", "quantity", "unit_price", "line_kind")
_SEPARATORS = (";", "|", "/", ",", "+")
# what a piece of a list of parts shows: how many, its number, its price
_AMOUNT = re.compile(
    r"\d+(?:[.,]\d+)?\s*(?:x|×|\*|pcs?\.?|stk\.?|st\.?)\s+\S.*|.*\S\s*(?:\s[x×*]|[×*])\s*\d+(?:[.,]\d+)?"
    r"|.*\(\s*(?:x|×|qty:?)?\s*\d+\s*(?:x|×|pcs?)?\s*\).*", re.IGNORECASE,
)  # fmt: skip
_NUMBER_FIRST = re.compile(r"(?=\S*\d)(?=\S*[A-Za-z])[A-Za-z0-9][\w\-./]{2,24}(?:\s.*)?")
_PRICED = re.compile(r".*(?:@|\bà|=)\s*\S{0,3}\s?\d[\d.,]*\s*\S{0,3}", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Groups:
    """Slots of wide rows: for each, our columns and theirs."""

    slots: tuple[dict[str, str], ...]


def find_groups(headers: list[str]) -> Groups | None:
    """Numbered columns such as Part 1, Qty 1, Part 2, Qty 2.

    Examples
    --------
    >>> find_groups(["Job", "Part 1", "Qty 1", "Part 2", "Qty 2"]).slots[1]
    {'part_number': 'Part 2', 'quantity': 'Qty 2'}
    """
    stems = _numbered(headers)
    if not stems:
        return None
    named = _assigned(list(stems))
    # two columns that are both called Text are no slots of parts
    if "part_number" not in named and not {"description", "quantity"} <= set(named):
        return None
    numbers = sorted({n for s in named.values() for n in stems[s]})
    slots = []
    for number in numbers:
        slot = {o: stems[s][number] for o, s in named.items() if number in stems[s]}
        if {"part_number", "description"} & set(slot):
            slots.append(slot)
    return Groups(tuple(slots)) if len(slots) >= 2 else None


def _numbered(headers: list[str]) -> dict[str, dict[int, str]]:
    """Name without its number -> number -> header, of names with two numbers at least."""
    stems: dict[str, dict[int, str]] = {}
    for header in headers:
        found = _NUMBERED.fullmatch(header)
        if found and (found["before"].strip() or found["after"].strip()):
            stem = f"{found['before'].strip(' _.-#')} {found['after'].strip(' _.-#')}".strip()
            stems.setdefault(stem, {})[int(found["number"])] = header
    stems = {s: n for s, n in stems.items() if len(n) >= 2}
    return stems


def unnamed_groups(headers: list[str]) -> list[str]:
    """Columns that look like slots of parts, two or more names with the same numbers.

    Examples
    --------
    >>> unnamed_groups(["Job", "Aa 1", "Bb 1", "Aa 2", "Bb 2"])
    ['Aa 1', 'Bb 1', 'Aa 2', 'Bb 2']
    """
    stems = _numbered(headers)
    alike = [s for s, n in stems.items() if sum(set(n) == set(m) for m in stems.values()) >= 2]
    return [h for h in headers if any(h in stems[s].values() for s in alike)]


def _assigned(stems: list[str]) -> dict[str, str]:
    pairs = sorted(
        ((name_score(s, o), o, s) for s in stems for o in _SLOT),
        key=lambda t: (-t[0], _SLOT.index(t[1])),
    )
    out: dict[str, str] = {}
    for score, ours, stem in pairs:
        if score >= 0.5 and ours not in out and stem not in out.values():
            out[ours] = stem
    return out


def find_parts_cell(cells: pd.DataFrame) -> PartsCell | None:
    """A column whose cells list parts with a separator between them."""
    best: tuple[float, str, str] | None = None
    for header in map(str, cells.columns):
        named = max(name_score(header, "part_number"), 0.9 if _is_list_name(header) else 0.0)
        filled = cells[header][cells[header] != ""]
        if len(filled) < 5:
            continue
        for sign in _SEPARATORS:
            several = filled[filled.str.contains(sign, regex=False)]
            if len(several) < max(3, 0.05 * len(filled)):
                continue
            pieces = several.head(300).str.split(sign, regex=False).explode().str.strip()
            pieces = pieces[pieces != ""]
            share = float(pieces.map(_is_piece).mean())
            need = 0.8 if named >= 0.5 else 0.95
            if share >= need and (best is None or share + named > best[0]):
                best = (share + named, header, sign)
    return PartsCell(column=best[1], separator=best[2]) if best else None


def _is_piece(text: str) -> bool:
    return any(form.fullmatch(text) for form in (_AMOUNT, _NUMBER_FIRST, _PRICED))


def _is_list_name(header: str) -> bool:
    from dutylife.draft.names import tokens

    words = {
        "parts",
        "spares",
        "teile",
        "ersatzteile",
        "pieces",
        "repuestos",
        "onderdelen",
        "material",
        "used",
    }
    return bool(words & set(tokens(header)))
