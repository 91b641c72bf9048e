"""Rows that are no records: blank ones, repeated headers, totals, page headers and footers."""

import re

import numpy as np
import pandas as pd

from dutylife.intake.layout.sums import find_sums

BLANK = "blank row"
REPEATED = "header repeated"
TOTALS = "totals row"
PAGE = "page header or footer"
TOO_LONG = "row has more cells than the header"

# words of the trade's paper in the languages exports come in; a figure or name may follow
_TOTAL = (
    r"(?:grand |sub[- ]?|page |report |day |month(?:ly)? |invoice )?totals?"
    r"(?: (?:number of |no\.? of )?(?:lines|rows|items|parts|pieces|hours|labour|net|gross|amount"
    r"|value))?"
    r"|(?:gesamt|zwischen|end|seiten)?summen?|gesamt(?:betrag|summe|wert)?|insgesamt|übertrag"
    r"|(?:summe|gesamtzahl|anzahl) (?:der )?(?:zeilen|positionen|posten|netto|brutto|stunden)"
    r"|(?:sous-|sous )?total(?: général)?|totaux|montant total"
    r"|total (?:des )?(?:lignes|pièces|heures|ht|ttc)|nombre (?:de |total de )?lignes"
    r"|(?:sub)?total(?:es)?(?: general)?|suma(?: total| y sigue)?"
    r"|total (?:de )?(?:líneas|lineas|piezas|horas|importe)|importe total"
    r"|(?:sub|eind)?totaal|totaal (?:regels|bedrag|uren|aantal)|totaalbedrag|aantal regels"
    r"|(?:carried|brought) forward|sum"
)
_AFTER_TOTAL = (
    r"[\s:=.]*(?:[-\d.,' €$£]*(?:[a-z]{3})?|\([^)]*\)|(?:for|of|für|pour|de|voor) .{0,60})"
)
_WHOLE_TOTAL = re.compile(f"(?:{_TOTAL}){_AFTER_TOTAL}")
_PAGE = re.compile(
    r"(?:page|seite|página|pagina|p\.|blatt|feuille|blad)\s*:?\s*\d+"
    r"(?:\s*(?:of|von|de|sur|van|/)\s*\d+)?"
    r"|\d+\s*/\s*\d+"
    r"|(?:printed|print date|report date|date printed|gedruckt|druckdatum|imprimé|impreso|afgedrukt"
    r"|exported|generated|erstellt|created|export date|stand|run date|as of)\b.*"
    r"|[-*=_\s]*(?:end of (?:report|file|list|data)|ende(?: der liste| des berichts)?"
    r"|fin(?: du rapport| del informe)?|einde(?: rapport)?)[-*=_\s.]*"
    r"|\(?\s*\d+\s*(?:records?|rows?|lines?|entries|datensätze|zeilen|lignes|enregistrements"
    r"|registros|líneas|filas|regels|rijen|rows? affected|rows? selected)\)?\.?"
    r"|(?:records?|rows?|lines?|count|anzahl|nombre)\s*[:=]\s*\d+"
    r"|[-=_*~+|.\s]{3,}",
    re.IGNORECASE,
)
# a row of a page header, footer or total fills at most this share of the columns
_FEW_CELLS = 0.5


def find_faults(
    cells: pd.DataFrame, blank: np.ndarray, names: list[str], titles: tuple[str, ...]
) -> pd.Series:
    """Why each row is no record; blank where it is one.

    Parameters
    ----------
    cells : DataFrame
        Trimmed text under the header.
    blank : ndarray of bool, shape of cells
    names : list of str
        The header row as the file has it.
    titles : tuple of str
        Lines above the header, which pages repeat.
    """
    fault = np.full(len(cells), "", dtype="object")
    if not len(cells) or not cells.shape[1]:
        return pd.Series(fault)
    n_filled = cells.shape[1] - blank.sum(axis=1)
    fault[n_filled == 0] = BLANK
    alike = np.flatnonzero((cells.iloc[:, 0] == names[0]).to_numpy())
    for row in alike:
        if [c.casefold() for c in cells.iloc[row]] == [n.casefold() for n in names]:
            fault[row] = REPEATED
    few = np.flatnonzero(
        (n_filled > 0) & (n_filled <= max(2, _FEW_CELLS * cells.shape[1])) & (fault == "")
    )
    if not len(few) or cells.shape[1] < 3:
        return pd.Series(fault)
    heads = {_plain(t) for t in titles if _plain(t)}
    values = cells.iloc[few].astype("object").to_numpy()
    for row, record in zip(few, values, strict=True):
        filled = [c for c in record if c != ""]
        if _is_total(filled):
            fault[row] = TOTALS
        elif _is_page(filled, heads):
            fault[row] = PAGE
    fault[find_sums(cells, few[fault[few] == ""], fault == "", fault == TOTALS)] = TOTALS
    return pd.Series(fault)


def _is_total(filled: list[str]) -> bool:
    """The first word is one for a total, and beside it stand figures only."""
    at = next((i for i, c in enumerate(filled) if _starts_total(c)), None)
    if at is None:
        return False
    rest = [c for i, c in enumerate(filled) if i != at]
    figures = [c for c in rest if re.fullmatch(r"[^A-Za-z]*\d[^A-Za-z]*(?:[A-Za-z]{1,4})?", c)]
    return len(figures) == len(rest) or (at == 0 and len(figures) >= len(rest) - 1)


def _starts_total(cell: str) -> bool:
    return bool(_WHOLE_TOTAL.fullmatch(cell.casefold()))


def _is_page(filled: list[str], heads: set[str]) -> bool:
    if len(filled) > 3:
        return _plain(" ".join(filled)) in heads
    if _plain(" ".join(filled)) in heads:
        return True
    return all(_PAGE.fullmatch(c) for c in filled) and not all(
        re.fullmatch(r"[\d/. -]+", c) and not re.fullmatch(r"[-. ]{3,}", c) for c in filled
    )


def _plain(text: str) -> str:
    """Text without its figures, so that "Page 2" is the same line as "Page 1"."""
    return re.sub(r"\d+", "9", " ".join(text.split()).casefold())
