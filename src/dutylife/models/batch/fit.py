"""Maximum likelihood of the Weibull law in every cell, each with a verdict."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.batch.blocks import Block
from dutylife.models.batch.climb import Tops, climbed
from dutylife.models.batch.names import codes_of_columns, codes_of_one, counts_of_one, order_of
from dutylife.models.batch.packing import packed
from dutylife.models.batch.row_checks import cant_stand
from dutylife.models.batch.search import searched, unsure
from dutylife.models.checks import Array
from dutylife.wording import count

FITTED, UNBOUNDED, NONE = "fitted", "unbounded", "no estimate"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellFits:
    """Weibull laws of many cells; every array has shape (n_cells,), in the order of ``cells``.

    ``verdict``: "fitted"; "unbounded" where the likelihood rises without end (all failures at the
    longest age of the cell; late entries that leave any small shape possible); "no estimate"
    where nothing failed or a row can't stand. Figures are missing but for fitted cells.
    ``log_shape`` and ``log_scale`` [log age]; ``loglik`` is that of ages (not of log ages);
    ``residual`` the steepest slope left, over the failures; ``second_top`` marks a cell whose
    likelihood has another, lower top, as few failures with late entries can leave: the law
    stands on the higher one, and its bounds deserve less trust.
    """

    cells: pd.Index
    n_lives: NDArray[np.int64]
    n_failed: NDArray[np.int64]
    failures: Array
    log_shape: Array
    log_scale: Array
    loglik: Array
    residual: Array
    verdict: NDArray[np.object_]
    second_top: NDArray[np.bool_]
    # lives of the cells that can stand, in the order of the cells: number of the cell and ages
    lives: dict[str, Array] = field(repr=False)
    block: Block = field(repr=False)
    centre: Array = field(repr=False)
    b: Array = field(repr=False)
    # minus the second derivatives by (log shape, log scale): shape, both, scale
    information: tuple[Array, Array, Array] = field(repr=False)

    @property
    def fitted(self) -> NDArray[np.bool_]:
        """Cells with a law."""
        found: NDArray[np.bool_] = self.verdict == FITTED
        return found

    @property
    def codes(self) -> NDArray[np.intp]:
        """Number of the cell of each of ``lives``."""
        return np.repeat(np.arange(len(self.cells)), self.n_lives)

    @property
    def shape(self) -> Array:
        """Shapes [1]."""
        return np.exp(self.log_shape)

    @property
    def scale(self) -> Array:
        """Ages by which 63.2 % have failed [age]."""
        return np.exp(self.log_scale)

    def quantile(self, share: float) -> Array:
        """Age by which a share has failed [age]."""
        age: Array = np.exp(self.log_scale + np.log(-np.log1p(-share)) / self.shape)
        return age

    def limits(
        self, what: str, level: float = 0.90, *, age: ArrayLike | None = None
    ) -> pd.DataFrame:
        """Likelihood-ratio limits; see `dutylife.models.batch.limits.limits`."""
        from dutylife.models.batch.limits import limits

        return limits(self, what, level, age=age)

    @property
    def table(self) -> pd.DataFrame:
        """One row for each cell."""
        return pd.DataFrame(
            {
                "n_lives": self.n_lives, "n_failed": self.n_failed, "failures": self.failures,
                "shape": self.shape, "scale": self.scale, "loglik": self.loglik,
                "verdict": self.verdict, "second_top": self.second_top,
            },
            index=self.cells,
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        n = {word: int((self.verdict == word).sum()) for word in (FITTED, UNBOUNDED, NONE)}
        return (
            f"{count(len(self.cells), 'cell')}: {n[FITTED]} with a Weibull law, {n[UNBOUNDED]} "
            f"whose likelihood has no top, {n[NONE]} without an estimate."
        )


def fit_cells(
    cell: ArrayLike | pd.DataFrame,
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    lower: ArrayLike | None = None,
    upper: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> CellFits:
    """Weibull law of every cell by maximum likelihood.

    Parameters
    ----------
    cell : array_like, shape (n,), or DataFrame with n rows
        Cell of each life: any values, or columns that name it together. Rows without one are
        refused.
    exit, event : array_like, shape (n,)
        Age at the end of the watch, and whether the life ended in failure there. [one unit]
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default.
    lower, upper : array_like, shape (n,), optional
        Of failures known only to lie in (lower, upper]: both ages, lower 0 for "before upper".
        Missing for the other rows; there exit and event count. Lives without failure are rows
        with event 0, not an infinite upper.
    weights : array_like, shape (n,), optional
        Share of each row; rows of weight 0 are left out.

    Returns
    -------
    CellFits
        A cell with a row that can't stand (age not above 0 or not finite, exit not above entry,
        lower above upper or below entry, weight missing or negative) ends as "no estimate" and
        stops no other.

    Raises
    ------
    FitError
        Columns of unequal length, rows without a cell, or only one of lower and upper.

    Notes
    -----
    Without failures between two ages the likelihood of a cell is told by the failures, the sum
    of their log ages and S0(k) = sum of exit^k - sum of entry^k: Newton steps on log k. With
    them, damped Newton steps on (log k, -k log scale). Cells that end with a residual above 1e-8
    and cells of few failures with late entries are searched over shapes of 0.02 to 5000.
    """
    n = len(np.atleast_1d(np.asarray(exit)))
    given = {
        "exit": exit, "entry": entry, "lower": lower, "upper": upper,
        "weights": weights,
    }  # fmt: skip
    arrays: dict[str, Array] = {
        k: np.atleast_1d(np.asarray(v, dtype=float)) for k, v in given.items() if v is not None
    }
    told = np.asarray(event)
    arrays["event"] = np.atleast_1d(
        told if told.dtype == np.bool_ else np.asarray(event, dtype=float)
    )
    counts, codes, cells = _by_cell(cell, n)
    unlike = [f"{k} {len(v)}" for k, v in arrays.items() if len(v) != n]
    if unlike or (lower is None) != (upper is None):
        raise FitError(
            "The columns differ in length." if unlike else "Only one of lower and upper is given.",
            f"fit_cells(exit {n}{', ' + ', '.join(unlike) if unlike else ''})",
            "give one value for each life, and lower with upper",
        )
    bad = cant_stand(arrays)
    spoilt = np.zeros(len(cells), dtype=bool)
    use: NDArray[np.bool_] | None = None
    if codes is None and (bad is not None or weights is not None):
        codes = np.repeat(np.arange(len(cells)), counts)
    if bad is not None and codes is not None:
        spoilt[codes[bad]] = True
        use = ~spoilt[codes]
    if weights is not None:
        use = (arrays["weights"] > 0) if use is None else use & (arrays["weights"] > 0)
    if use is not None and codes is not None and not use.all():
        codes, arrays = codes[use], {k: v[use] for k, v in arrays.items()}
        counts = np.bincount(codes, minlength=len(cells))
    if codes is not None and (codes[1:] < codes[:-1]).any():
        order = order_of(codes, len(cells))
        arrays = {k: v[order] for k, v in arrays.items()}
    return _fitted(counts, cells, arrays, spoilt)


def _fitted(
    counts: NDArray[np.int64], cells: pd.Index, arrays: dict[str, Array],
    spoilt: NDArray[np.bool_],
) -> CellFits:  # fmt: skip
    n_cells = len(cells)
    block, centre = packed(
        counts, arrays["exit"], arrays["event"], arrays.get("entry"), arrays.get("lower"),
        arrays.get("upper"), arrays.get("weights"),
    )  # fmt: skip
    out = {k: np.full(n_cells, np.nan) for k in ("q", "b", "loglik", "residual")}
    found, second = np.zeros(n_cells, dtype=bool), np.zeros(n_cells, dtype=bool)
    bend = np.full((3, n_cells), np.nan)

    def noted(cells: NDArray[np.intp], top: Tops) -> None:
        out["q"][cells], out["b"][cells], out["residual"][cells] = top.q, top.b, top.residual
        out["loglik"][cells] = top.at.value
        found[cells], second[cells] = top.found, top.second
        bend[:, cells] = top.at.qq, top.at.qb, top.at.bb

    for where, part in parts_of(block):
        top = climbed(part)
        noted(where, top)
        doubtful = unsure(part, top)
        if doubtful.any():
            some, known = part.of(doubtful), top.of(doubtful)
            for here, piece in parts_of(some, 1.0):
                with np.errstate(all="ignore"):
                    noted(where[doubtful][here], searched(piece, known.of(here)))
    failures = block.failures + block.looked
    verdict = np.full(n_cells, NONE, dtype=object)
    verdict[block.rows_failed > 0] = UNBOUNDED
    verdict[found] = FITTED
    verdict[spoilt] = NONE
    blank_cells = verdict != FITTED
    for values in out.values():
        values[blank_cells] = np.nan
    bend[:, blank_cells] = np.nan
    shape = np.exp(out["q"])
    # the likelihood of ages, taken back from relative log ages: their sum and the centre of each
    loglik = out["loglik"] - block.log_failed - block.failures * centre
    # by (log shape, log scale): b = -k log scale, so db/dq = b and db/dlog scale = -k
    qq, qb, bb = bend
    information = -(qq + 2.0 * out["b"] * qb + out["b"] ** 2 * bb), shape * (qb + out["b"] * bb)
    return CellFits(
        cells=cells, n_lives=counts, n_failed=block.rows_failed.astype(np.int64),
        failures=failures, log_shape=out["q"],
        log_scale=centre - out["b"] / shape, loglik=loglik, residual=out["residual"],
        verdict=verdict, second_top=second & found, lives=arrays,
        block=block, centre=centre, b=out["b"],
        information=(*information, -(shape**2) * bb),
    )  # fmt: skip


def parts_of(block: Block, most: float = 0.5) -> list[tuple[NDArray[np.intp], Block]]:
    """Cells with failures between two ages, and those without: the latter go a faster way.

    Where more than ``most`` have them, all go together: parting them would take longer.
    """
    every = np.arange(block.n_cells)
    if not block.has_between:
        return [(every, block)]
    has = np.zeros(block.n_cells, dtype=bool)
    has[block.between.cells] = True
    if has.mean() > most or has.all():
        return [(every, block)]
    return [(np.flatnonzero(which), block.of(which)) for which in (~has, has)]


def _by_cell(
    cell: ArrayLike | pd.DataFrame, n: int
) -> tuple[NDArray[np.int64], NDArray[np.intp] | None, pd.Index]:
    """Lives of each cell, the cell of each life (None where cell after cell), the cells."""
    if isinstance(cell, pd.DataFrame):
        codes, cells, missing = codes_of_columns(cell)
    else:
        names = np.asarray(cell)
        in_order = counts_of_one(names) if len(names) == n else None
        if in_order is not None:
            return in_order[0], None, pd.Index(in_order[1])
        codes, cells, missing = codes_of_one(names)
    if len(codes) != n or missing.any():
        raise FitError(
            f"{len(codes)} cells for {n} lives, {int(missing.sum())} of them blank.",
            "fit_cells(cell)", "name the cell of each life",
        )  # fmt: skip
    index = pd.Index(cells)
    codes = codes.astype(np.intp, copy=False)
    return np.bincount(codes, minlength=len(index)), codes, index
