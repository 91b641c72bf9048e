"""Part number to component: from the settings, else by what the lines and the shelf call it."""

import pandas as pd

from dutylife.coding.lexicon import AMBIGUOUS, Lexicon
from dutylife.schema import as_table

# of a parts file, as it is; the last four are what a part reads when new and where it is rejected
_AS_LISTED = ("pack_size", "nominal", "low_limit", "high_limit", "unit")


def build_catalogue(
    part_lines: pd.DataFrame,
    shelf: pd.DataFrame,
    named: dict[str, tuple[str, ...]],
    lexicon: Lexicon,
) -> pd.DataFrame:
    """One row for each part number of the lines and the shelf.

    The component is that of the settings, else the one most lines' texts name, else the one the
    shelf's description names; a text that names several, or one that is ambiguous, is no vote.

    Parameters
    ----------
    part_lines : DataFrame
        part_number, description of part lines (text, blank where missing).
    shelf : DataFrame
        Table shelf.
    named : dict
        Components named by each description, of lines and shelf.
    """
    lines = part_lines[part_lines["part_number"] != ""]
    stock = pd.DataFrame(
        {c: shelf[c].astype("object").where(shelf[c].notna(), "")
         for c in ("part_number", "description", "supplier")}
    ).assign(**{c: shelf[c] for c in _AS_LISTED})  # fmt: skip
    own = {n: c.name for c in lexicon.components.values() for n in c.part_numbers}
    own = {_key(n): c for n, c in own.items()}
    by_lines = _majority(lines, named)
    by_shelf = _majority(stock, named)
    numbers = sorted(set(lines["part_number"]) | set(stock["part_number"]))
    texts = _most_common(lines)
    on_shelf = stock.drop_duplicates("part_number").set_index("part_number")
    rows = [
        {
            "part_number": n,
            "component": own.get(_key(n)) or by_lines.get(n) or by_shelf.get(n),
            "description": texts.get(n) or _get(on_shelf, n, "description"),
            "supplier": _get(on_shelf, n, "supplier") or None,
            **{c: _get(on_shelf, n, c) for c in _AS_LISTED},
        }
        for n in numbers
    ]
    return as_table("catalogue", pd.DataFrame(rows))


def _key(number: str) -> str:
    return "".join(number.casefold().split())


def _get(table: pd.DataFrame, number: str, column: str) -> object:
    return table.at[number, column] if number in table.index else None


def _most_common(lines: pd.DataFrame) -> dict[str, str]:
    told = lines[lines["description"] != ""]
    counts = told.groupby(["part_number", "description"]).size().reset_index(name="n")
    counts = counts.sort_values(["part_number", "n", "description"], ascending=[True, False, True])
    first = counts.drop_duplicates("part_number")
    return dict(zip(first["part_number"], first["description"], strict=True))


def _majority(rows: pd.DataFrame, named: dict[str, tuple[str, ...]]) -> dict[str, str]:
    votes = rows["description"].map(lambda d: _vote(named.get(d, ())))
    counts = rows.assign(component=votes)[votes != ""]
    counts = counts.groupby(["part_number", "component"]).size().reset_index(name="n")
    counts = counts.sort_values(["part_number", "n", "component"], ascending=[True, False, True])
    first = counts.drop_duplicates("part_number")
    return dict(zip(first["part_number"], first["component"], strict=True))


def _vote(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 and not names[0].startswith(AMBIGUOUS) else ""
