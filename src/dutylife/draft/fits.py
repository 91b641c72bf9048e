"""How well the cells of a column fit one of ours, whatever its name; and what they can't be."""

import re
from functools import cache, lru_cache

import numpy as np
import pandas as pd

from dutylife.draft.names import folded, words
from dutylife.draft.profile import Profile
from dutylife.intake.line_kinds import known_kinds
from dutylife.intake.values import on_unlike
from dutylife.intake.values.dates import is_counted
from dutylife.vocabulary import COLUMNS

NO = -1.0  # it can't be this
_DATES = frozenset(n for n, c in COLUMNS.items() if c.kind == "date")
_NUMBERS = frozenset(n for n, c in COLUMNS.items() if c.kind in ("number", "count"))
_CATEGORIES = {"ticket_kind": 30, "line_kind": 14, "duty": 60, "equipment_class": 120, "moment": 6}
_FEW_FILLED = 0.002


@lru_cache(maxsize=50000)
def cell_score(ours: str, column: Profile, kind: str) -> float:
    """Fit of a column's cells to a column of ours: 0 to 1, or `NO`.

    Parameters
    ----------
    ours : str
    column : Profile
    kind : str
        Kind of export: a machine stands once in a machines file and often in a lines file.
    """
    if not column.n_filled or column.share_filled < _FEW_FILLED:
        return 0.15 if ours not in ("service_date", "unit_id") else NO
    if ours in _DATES:
        return _date(ours, column)
    if column.share_dates > 0.9 and not _is_counted(column):
        return NO
    if ours in _NUMBERS:
        return _number(ours, column)
    if ours in _CATEGORIES:
        return _category(ours, column, kind)
    return _word(ours, column, kind)


def _is_counted(column: Profile) -> bool:
    """Its dates are bare figures: serial days or 20240305, which may be plain numbers as well."""
    filled = column.cells[column.cells != ""]
    return bool((is_counted(filled) | filled.str.fullmatch(r"\d{6,8}(\.0)?")).mean() > 0.5)


def _date(ours: str, column: Profile) -> float:
    if column.share_dates < 0.7:
        return NO
    if _is_counted(column):
        eight = column.cells[column.cells != ""].str.fullmatch(r"(?:19|20)\d{6}(\.0)?").mean() > 0.9
        return 0.6 if eight else 0.3
    if ours == "left_on":
        return 0.8 if column.share_filled < 0.6 else 0.3
    if ours in ("service_date",):
        return 0.5 + 0.5 * column.share_filled
    return 0.7


def _number(ours: str, column: Profile) -> float:
    values = column.values.dropna()
    if column.share_figures < 0.8 or values.empty:
        return NO
    small = float((values.abs() <= 20).mean())
    if ours == "quantity":
        ones = float((values.abs() == 1).mean())
        return min(1.0, 0.3 + 0.4 * small + 0.5 * ones)
    if ours in ("unit_price", "unit_cost"):
        return min(1.0, 0.4 + 0.5 * column.share_cents + (0.1 if column.n_unlike > 10 else 0.0))
    if ours == "meter_hours":
        if column.share_negative > 0.01 or float((values == values.iloc[0]).mean()) > 0.95:
            return NO
        large = float((values > 50).mean())
        return 0.2 + 0.6 * large + (0.1 if column.share_cents < 0.5 else 0.0)
    if ours in ("on_hand", "on_order", "counted", "pack_size", "lead_time_days", "n_machines"):
        return 0.7 if column.is_whole else 0.3
    return 0.5


def _category(ours: str, column: Profile, kind: str) -> float:
    most = _CATEGORIES[ours]
    if column.n_unlike > most or (column.n_filled > 40 and column.share_unlike > 0.3):
        return NO if kind == "lines" else 0.1
    if column.share_figures > 0.9 and ours != "ticket_kind":
        return 0.1
    filled = column.cells[column.cells != ""]
    if ours == "line_kind":
        share = float((known_values(filled, "line_kind") != "").mean())
        if share > 0.8:
            return 1.0
        # words nobody knows say nothing: then text and figures tell what a line bills
        return 0.5 if share > 0 and column.mean_length <= 12 else 0.15
    if ours == "ticket_kind":
        if float((known_values(filled, "line_kind") != "").mean()) > 0.95 and column.n_unlike > 1:
            return 0.3
        share = float((known_values(filled, "ticket_kind") != "").mean())
        return 1.0 if share > 0.6 else 0.5
    # a machine kind has more kinds than a job, and is words
    return 0.6 if column.share_words > 0.5 else 0.2


def known_values(cells: pd.Series, ours: str) -> pd.Series:
    """Words of ours behind the cells of a category column, blank where they are not known."""
    table = _meanings(ours)

    def read(unlike: pd.Series) -> pd.Series:
        plain = unlike.map(lambda c: folded(c).strip(" .:"))
        told = plain.map(lambda c: table.get(c, ""))
        if ours == "line_kind":
            return told.mask(told == "", known_kinds(unlike))
        # "Wartung 100 h" begins with the word
        return told.mask(
            told == "", plain.map(lambda c: table.get(c.split(" ")[0] if c else "", ""))
        )

    return on_unlike(cells, read)


@cache
def _meanings(ours: str) -> dict[str, str]:
    given = words()["values"].get(ours, {})
    return {folded(k): k for k in given} | {folded(w): k for k, ws in given.items() for w in ws}


@cache
def _spoken_words(name: str) -> frozenset[str]:
    return frozenset(folded(w) for w in words()["texts"][name])


def _word(ours: str, column: Profile, kind: str) -> float:
    if ours in ("ticket", "contract"):
        return _ticket(column)
    if ours in ("unit_id", "alias"):
        return _unit(column, kind)
    if ours in ("part_number", "kit_number", "replaces", "replaced_by", "alternate_of"):
        return _part(ours, column, kind)
    if ours in ("complaint", "work_done", "description"):
        return _text(ours, column)
    if ours in ("customer", "supplier", "engine_model", "component"):
        if column.share_words < 0.5:
            return 0.15 if ours == "engine_model" or column.share_codes > 0.5 else NO
        if column.n_filled > 60 and column.share_unlike > 0.6 and kind == "lines":
            return NO
        return 0.75 if 1 <= column.mean_words <= 6 else 0.2
    return 0.4


def _ticket(column: Profile) -> float:
    if column.mean_words > 2.5 or (column.share_figures > 0.9 and not column.is_whole):
        return NO
    if column.values.notna().any() and column.share_negative > 0:
        return NO
    if column.n_filled > 60 and column.share_unlike < 0.03:
        return 0.1
    digits = float(column.cells[column.cells != ""].str.contains(r"\d").mean())
    return 0.2 + 0.6 * digits + (0.2 if column.share_filled > 0.9 else 0.0)


def _unit(column: Profile, kind: str) -> float:
    if column.mean_words > 6 or (column.share_figures > 0.9 and not column.is_whole):
        return NO
    if kind in ("machines", "roster"):
        return 0.9 if column.share_unlike > 0.97 else 0.2
    if column.n_filled > 60 and column.share_unlike > 0.9:
        return 0.25
    return 0.6 + 0.3 * float(column.share_codes > 0.5)


def _part(ours: str, column: Profile, kind: str) -> float:
    if column.mean_words > 3.5:
        return NO
    coded = max(column.share_codes, column.share_figures if column.is_whole else 0.0)
    if kind in ("parts", "stock") and ours == "part_number":
        return (0.9 if column.share_unlike > 0.9 else 0.2) if coded > 0.3 else 0.3
    if coded < 0.4 or (
        column.share_figures > 0.9 and column.n_unlike < 10 and column.n_filled > 60
    ):
        return 0.15
    return 0.5 + 0.4 * coded - (0.4 if column.n_filled > 200 and column.share_unlike > 0.9 else 0.0)


def _text(ours: str, column: Profile) -> float:
    if column.share_words < 0.6 or column.share_codes > 0.6:
        return 0.05 if column.share_codes > 0.6 else NO
    long = min(1.0, column.mean_words / 3)
    if ours == "description":
        return 0.4 + 0.3 * long
    if len(column.cells) > 200 and (column.n_unlike < 20 or column.mean_words < 1.4):
        return 0.1
    told = spoken(column)
    mine = told["work" if ours == "work_done" else "complaint"]
    other = told["complaint" if ours == "work_done" else "work"]
    return float(np.clip(0.35 + 0.25 * long + 0.8 * (mine - other), 0.05, 1.0))


def spoken(column: Profile) -> dict[str, float]:
    """Share of unlike texts with a word of work done, and with one of a complaint."""
    texts = column.cells[column.cells != ""].drop_duplicates().head(300)
    if texts.empty:
        return {"work": 0.0, "complaint": 0.0}
    said = [set(re.split(r"[^\w']+", folded(t))) for t in texts]
    return {
        name: sum(bool(_spoken_words(name) & t) for t in said) / len(said)
        for name in ("work", "complaint")
    }
