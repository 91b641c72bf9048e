"""Parametric bootstrap of many Weibull cells: lives drawn from each law, and fitted again.

Drawn in standardised form, as cumulative hazards h = (age / scale)^shape under the law fitted: they
are exponential, and the fit of a drawn set is near shape 1. One pass over the drawn lives gives a
series of the likelihood about shape 1 (see `series`), which serves nearly every replicate; the rest
are fitted by the kernel of `fit_cells`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.batch.draws import Draws, Store, sums_of
from dutylife.models.batch.fit import CellFits
from dutylife.models.batch.planned_ends import planned_ends
from dutylife.models.batch.replicates import Left, on_series
from dutylife.models.checks import Array
from dutylife.wording import count

# orders of the series by number of failures: few spread the shapes wider, and have few draws to sum
_ORDERS = ((0, 18), (10, 15), (20, 12), (40, 9), (70, 8), (150, 7), (300, 6))
_DRAWS_A_BATCH = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellBootstrap:
    """Laws fitted to drawn lives; ``log_shape`` and ``log_scale`` have shape (n_cells, n).

    Missing where the drawn lives gave no law; ``n_without`` counts those of each cell,
    ``n_unfailed`` those among them that drew no failure at all. Each cell draws from a seed of its
    own, so that its replicates don't turn on the other cells.
    """

    fits: CellFits
    n: int
    seed: int
    log_shape: Array = field(repr=False)
    log_scale: Array = field(repr=False)
    n_unfailed: NDArray[np.int64] = field(repr=False)

    @property
    def n_without(self) -> NDArray[np.int64]:
        """Replicates of each cell without a law; shape (n_cells,)."""
        return np.asarray(np.isnan(self.log_shape).sum(axis=1))

    def bounds(
        self, what: str, level: float = 0.90, *, bias_corrected: bool = False
    ) -> pd.DataFrame:
        """Two-sided bounds of a figure from its replicates.

        Parameters
        ----------
        what : str
            ``shape``, ``scale`` [age], or ``b`` and a percentage ("b10": age by which 10 % have
            failed).
        level : float
            Level of the two-sided range. [1]
        bias_corrected : bool
            Shift the shares that are read off by twice the normal quantile of the share of
            replicates below the estimate.

        Returns
        -------
        DataFrame
            Indexed by the cells: ``value``, ``lower``, ``upper``, ``n_without``. Replicates without
            a law are left out; where they are many, the bounds say too little.

        Raises
        ------
        FitError
            The figure or the level is not known.

        Notes
        -----
        Percentile bounds, and bias-corrected ones after Efron, "Nonparametric standard errors and
        confidence intervals", Canadian Journal of Statistics 9 (1981) (cited from memory).
        """
        from scipy.special import ndtr, ndtri

        value, drawn = self._figure(what, level)
        drawn = np.sort(drawn, axis=1)  # missing ones last
        n_laws = self.n - self.n_without
        shares = np.full((2, len(value)), 0.5 * (1.0 - level))
        shares[1] = 1.0 - shares[1]
        with np.errstate(invalid="ignore", divide="ignore"):
            if bias_corrected:
                below = (drawn < value[:, None]).sum(axis=1) / n_laws
                below = np.clip(below, 0.5 / n_laws, 1.0 - 0.5 / n_laws)
                shares = ndtr(2.0 * ndtri(below) + ndtri(shares))
            lower, upper = (_read_off(drawn, n_laws, s) for s in shares)
            return pd.DataFrame(
                {"value": np.exp(value), "lower": np.exp(lower), "upper": np.exp(upper),
                 "n_without": self.n_without}, index=self.fits.cells,
            )  # fmt: skip

    def _figure(self, what: str, level: float) -> tuple[Array, Array]:
        share = None
        if what.startswith("b"):
            try:
                share = float(what[1:]) / 100.0
            except ValueError:
                share = -1.0
        known = what in ("shape", "scale") or (share is not None and 0 < share < 1)
        if not known or not 0 < level < 1:
            raise FitError(
                f"No bootstrap bounds of '{what}' at level {level}.",
                "CellBootstrap.bounds(what, level)",
                "what: shape, scale, b10 and the like; 0 < level < 1",
            )
        if what == "shape":
            return self.fits.log_shape, self.log_shape
        y = 0.0 if share is None else np.log(-np.log1p(-share))
        return (
            self.fits.log_scale + y / self.fits.shape,
            self.log_scale + y * np.exp(-self.log_shape),
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row for each cell: bias-corrected 90 % bounds of shape, scale and B10."""
        out = {"verdict": self.fits.verdict, "n": self.n, "n_without": self.n_without}
        for what in ("shape", "scale", "b10"):
            found = self.bounds(what, 0.90, bias_corrected=True)
            out |= {what: found["value"], f"{what}_lower": found["lower"]}
            out |= {f"{what}_upper": found["upper"]}
        return pd.DataFrame(out, index=self.fits.cells)

    @property
    def text(self) -> str:
        """One sentence."""
        some = self.fits.fitted
        without = int(self.n_without[some].sum())
        share = 100.0 * without / max(int(some.sum()) * self.n, 1)
        return (
            f"{count(int(some.sum()), 'cell')} drawn {self.n} times each; {without} replicates "
            f"({share:.2g} %) gave no law, {int(self.n_unfailed[some].sum())} of them without "
            "a failure."
        )


def bootstrap(fits: CellFits, n: int, seed: int, stop: ArrayLike | None = None) -> CellBootstrap:
    """Draw lives from the law of every fitted cell and fit them again.

    Parameters
    ----------
    fits : CellFits
        Without weights and without failures between two ages.
    n : int
        Replicates of each cell.
    seed : int
    stop : array_like, optional
        Planned end of watching of the lives that failed, one for all cells or one for each; those
        that had not failed were watched as far as they got. [age]

    Returns
    -------
    CellBootstrap

    Raises
    ------
    FitError
        ``n`` below 1; lives with weights or between two ages; ``stop`` not after every failure.

    Notes
    -----
    Each drawn life enters at the age its original entered. A life that had not failed is watched to
    the age it had reached. How long a life that failed would have been watched is not on record:
    without ``stop`` it is drawn, once, from the product-limit curve of the ends of watching of its
    cell beyond the age of its failure, without end where no life of the cell went on unfailed
    beyond (Davison and Hinkley, "Bootstrap Methods and their Application", 1997, section 3.5;
    cited from memory). Lives that entered late count as there from age 0 in that curve. The fits
    stop at a slope of 1e-5 of the failures, with draws in single precision: log shapes are good to
    about 1e-5.
    """
    _can_be_drawn(fits, n)
    end = planned_ends(fits, seed, stop)
    n_cells = len(fits.cells)
    log_shape, log_scale = np.full((2, n_cells, n), np.nan)
    n_unfailed = np.zeros(n_cells, dtype=np.int64)
    edges = np.append(0, np.cumsum(fits.n_lives))
    exponent = np.repeat(fits.shape, fits.n_lives)
    scale = np.repeat(fits.log_scale, fits.n_lives)
    store = Store()
    with np.errstate(all="ignore"):
        until = np.exp(exponent * (np.log(end) - scale))
        entry = fits.lives.get("entry")
        since = (
            np.zeros_like(until) if entry is None else np.exp(exponent * (np.log(entry) - scale))
        )

        def noted(cell: int, which: NDArray[np.intp], shape: Array, b: Array) -> None:
            log_shape[cell, which] = np.log(shape) + fits.log_shape[cell]
            log_scale[cell, which] = fits.log_scale[cell] - b / shape / fits.shape[cell]

        left = Left()
        for cells, order in _batches(fits, n):
            lives = [
                (since[edges[c] : edges[c + 1]], until[edges[c] : edges[c + 1]]) for c in cells
            ]
            store.emptied(n * sum(len(u) for _, u in lives))
            draws = [Draws(seed, int(c), n, *of, store) for c, of in zip(cells, lives, strict=True)]
            sums = np.empty((order + 3, len(cells) * n))
            for i, drawn in enumerate(draws):
                sums_of(drawn, sums[:, i * n : (i + 1) * n])
            shape, b, fine = on_series(sums)
            unfailed = (sums[0] == 0).reshape(len(cells), n)
            n_unfailed[cells] = unfailed.sum(axis=1)
            shape[~fine] = np.nan
            b /= shape
            by_cell = shape.reshape(len(cells), n), b.reshape(len(cells), n)
            log_shape[cells] = np.log(by_cell[0]) + fits.log_shape[cells, None]
            log_scale[cells] = fits.log_scale[cells, None] - by_cell[1] / fits.shape[cells, None]
            again = ~fine.reshape(len(cells), n) & ~unfailed
            for c, drawn, mine in zip(cells, draws, again, strict=True):
                if mine.any():
                    left.add(int(c), drawn, mine)
            if left.many:
                for told in left.fitted():
                    noted(*told)
        for told in left.fitted():
            noted(*told)
    return CellBootstrap(
        fits=fits, n=n, seed=seed, log_shape=log_shape, log_scale=log_scale, n_unfailed=n_unfailed
    )


def _batches(fits: CellFits, n: int) -> Iterator[tuple[NDArray[np.intp], int]]:
    """Cells to draw together, whose number of failures asks for the same order of series."""
    fitted = np.flatnonzero(fits.fitted)
    fewest = np.array([fewest for fewest, _ in _ORDERS])
    rank = np.searchsorted(fewest, fits.n_failed[fitted], "right") - 1
    for r, (_, order) in enumerate(_ORDERS):
        cells = fitted[rank == r]
        whole = np.cumsum(fits.n_lives[cells]) * n // _DRAWS_A_BATCH
        for batch in np.split(cells, np.flatnonzero(np.diff(whole)) + 1):
            if len(batch):
                yield batch, order


def _read_off(drawn: Array, n_laws: NDArray[np.int64], share: Array) -> Array:
    """Quantile of the laws of each cell, between two of them; missing without any."""
    at = np.clip(share * (n_laws + 1.0) - 1.0, 0.0, np.maximum(n_laws - 1.0, 0.0))
    at = np.nan_to_num(at)
    low = np.floor(at).astype(np.intp)
    high = np.minimum(low + 1, np.maximum(n_laws - 1, 0))
    row = np.arange(len(drawn))
    out: Array = drawn[row, low] + (at - low) * (drawn[row, high] - drawn[row, low])
    return out


def _can_be_drawn(fits: CellFits, n: int) -> None:
    if n < 1:
        raise FitError(
            f"{n} replicates of each cell.", "bootstrap(n)", "ask for at least 1, 500 for bounds"
        )
    if fits.block.has_between or "weights" in fits.lives:
        raise FitError(
            "Lives with weights, or failures between two ages, are not drawn again.",
            "bootstrap(fits)",
            "use likelihood-ratio limits (fits.limits) for such cells",
        )
