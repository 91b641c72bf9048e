"""What the cells of a column look like: dates, figures, codes, names, free text."""

import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from dutylife.intake.values import blanked, date_evidence, number_evidence, read_dates, read_numbers
from dutylife.settings import Export

_LOOKED_AT = 2000
_SIGN = (
    r"(?:[$€£¥₹]|(?:usd|eur|gbp|chf|cad|aud|sek|nok|dkk|kr|rs|hrs?|h|std|km|mi|pcs?|stk?|ea|ltr?"
    r"|l|uds?|u)\.?)"
)
_FIGURE = re.compile(
    rf"[-+(\u2212]?\s?(?:{_SIGN}\s?)?[-+(\u2212]?\s?\d[\d.,' \u00a0\u202f]*\s?(?:{_SIGN})?"
    r"\s?\)?\s?(?:-|cr)?",
    re.IGNORECASE,
)
_CODE = re.compile(r"(?=[^ ]*\d)[A-Za-z0-9][A-Za-z0-9\-./_+]{1,24}")
_CODE_WITH_SPACES = re.compile(
    r"(?=.*\d)[A-Z0-9][A-Z0-9\-./_]{0,14}(?: [A-Z0-9][A-Z0-9\-./_]{0,9}){1,2}"
)


# without eq a profile is its own key, so that scores of it can be kept
@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """One column in figures; shares are of the filled cells.

    Parameters
    ----------
    cells : Series of str
        Cells of the looked-at rows, words for "nothing" blank.
    share_filled : float
        Filled cells of all looked-at rows.
    n_unlike, n_filled : int
    share_dates, share_figures, share_codes, share_words : float
        Codes hold a digit and no blank (or capitals in groups); words hold letters.
    values : Series of float
        Numbers of the cells, NaN elsewhere.
    dates : Series of datetime64
        Dates of the cells in the file's order, NaT elsewhere.
    """

    header: str
    cells: pd.Series
    share_filled: float
    n_filled: int
    n_unlike: int
    share_dates: float
    share_figures: float
    share_codes: float
    share_words: float
    mean_length: float
    mean_words: float
    values: pd.Series
    dates: pd.Series

    @property
    def share_unlike(self) -> float:
        """Unlike cells of the filled ones."""
        return self.n_unlike / self.n_filled if self.n_filled else 0.0

    @property
    def is_unique(self) -> bool:
        """Every filled cell stands once."""
        return self.n_filled > 0 and self.n_unlike == self.n_filled

    @property
    def is_whole(self) -> bool:
        """Its figures are whole numbers."""
        known = self.values.dropna()
        return len(known) > 0 and bool(np.mean(np.abs(known % 1) < 1e-9) > 0.98)

    @property
    def share_negative(self) -> float:
        """Figures below nought."""
        known = self.values.dropna()
        return float((known < 0).mean()) if len(known) else 0.0

    @property
    def share_cents(self) -> float:
        """Figures written with two decimals."""
        filled = self.cells[self.cells != ""]
        return (
            float(filled.str.contains(r"\d[.,]\d{2}\b(?![.,/-])", regex=True).mean())
            if len(filled)
            else 0.0
        )


def profiles_of(cells: pd.DataFrame) -> dict[str, Profile]:
    """Profile of each column, by header.

    Parameters
    ----------
    cells : DataFrame
        Records only; at most some thousand rows are looked at, taken evenly over the file.
    """
    if len(cells) > _LOOKED_AT:
        step = len(cells) / _LOOKED_AT
        cells = cells.iloc[np.floor(np.arange(_LOOKED_AT) * step).astype("int64")]
    texts = {str(h): blanked(cells[h].astype("object")) for h in cells.columns}
    dated = [t for t in texts.values() if _share_dates(t.iloc[:300]) > 0.7]
    order = date_evidence(dated).order or "dmy"
    return {h: _profile(h, tuple(t), order) for h, t in texts.items()}


def _dates(cells: pd.Series, order: str) -> pd.Series:
    dates = read_dates(cells, order)
    return dates.where(dates.dt.year.between(1950, 2100))


def _share_dates(cells: pd.Series) -> float:
    filled = cells[cells != ""]
    if filled.empty:
        return 0.0
    return max(float(_dates(filled, o).notna().mean()) for o in ("ymd", "dmy", "mdy"))


@lru_cache(maxsize=512)
def _profile(header: str, texts: tuple[str, ...], order: str) -> Profile:
    """Profile of one column; kept, since tables are looked at again once they are joined."""
    cells = pd.Series(texts, dtype="object")
    filled = cells[cells != ""]
    unlike = filled.drop_duplicates()
    n = max(len(filled), 1)
    by_cell = filled.value_counts()

    def share(test: "re.Pattern[str]") -> float:
        return float(sum(k for c, k in by_cell.items() if test.fullmatch(str(c)))) / n

    figures = share(_FIGURE)
    signs = number_evidence([filled]) if figures > 0.3 else None
    export = Export(path="x", decimal=(signs.decimal if signs and signs.decimal else "."),
                    thousands=(signs.thousands if signs else ""))  # fmt: skip
    values = read_numbers(cells, export) if figures > 0.3 else pd.Series(np.nan, index=cells.index)
    may_be_dates = bool(unlike.head(200).str.contains(r"\d", regex=True).mean() > 0.5)
    dates = _dates(cells, order) if may_be_dates else pd.Series(pd.NaT, index=cells.index)
    if may_be_dates and 0 < float(dates.notna().sum()) / n < 0.8:
        for other in ("ymd", "dmy", "mdy"):
            tried = _dates(cells, other)
            if tried.notna().sum() > dates.notna().sum():
                dates = tried
    codes = share(_CODE) + share(_CODE_WITH_SPACES)
    letters = float(sum(k for c, k in by_cell.items() if re.search(r"[^\W\d_]{2}", str(c)))) / n
    return Profile(
        header=header,
        cells=cells,
        share_filled=len(filled) / max(len(cells), 1),
        n_filled=len(filled),
        n_unlike=len(unlike),
        share_dates=float(dates.notna().sum()) / n if len(filled) else 0.0,
        share_figures=figures if len(filled) else 0.0,
        share_codes=min(codes, 1.0),
        share_words=letters,
        mean_length=float(unlike.str.len().mean()) if len(unlike) else 0.0,
        mean_words=float(unlike.str.split().str.len().mean()) if len(unlike) else 0.0,
        values=values,
        dates=dates,
    )


def decides(key: pd.Series, other: pd.Series) -> float:
    """Share of rows in which ``other`` is what it mostly is for that ``key``; of both filled."""
    both = pd.DataFrame({"key": key, "other": other.str.casefold()})
    both = both[(both["key"] != "") & (both["other"] != "")]
    if both.empty:
        return 0.0
    sizes = both.groupby(["key", "other"], observed=True).size()
    again = both["key"].duplicated(keep=False)
    if not again.any():
        return 0.0
    most = sizes.groupby(level=0).max()
    rows = both[again]["key"].unique()
    total = sizes.groupby(level=0).sum()
    return float(most[rows].sum() / total[rows].sum())
