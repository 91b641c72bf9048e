"""What each small cell says of its law beside a stated normal prior, without any sampling.

For a shape k the log-likelihood and the prior are concave in b = -k log scale: nodes at even steps
from where the density is next to nothing to where it is again, which is exact for smooth tops and,
unlike Gauss-Hermite nodes, for the lopsided one of a cell without a failure. Over log shape, Gauss-
Hermite nodes about the joint top, 1.15 times as wide as its curvature says. The weighted nodes
stand for draws wherever those are wanted.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dutylife.errors import FitError
from dutylife.models.batch.fit import CellFits
from dutylife.models.batch.posterior_modes import Prior
from dutylife.models.batch.posterior_nodes import POWERS, nodes
from dutylife.models.checks import Array
from dutylife.wording import count

_CELLS_A_PIECE = 64  # 15 x 19 nodes of that many cells stay in a core's own cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellPosteriors:
    """Weighted nodes: ``log_shape`` (n_cells, 15), ``log_scale`` and ``weight`` (n_cells, 15, 19).

    For each shape log scales lie at even steps: ``scale_line`` (n_cells, 15, 2), first and step.
    ``share`` (n_cells, 15) adds the weights up by shape; ``scale_mean`` and ``scale_variance``
    are those of log scale for each. The weights of a cell add up to 1; those of a cell without
    a life that can stand are missing.
    """

    fits: CellFits
    log_shape: Array = field(repr=False)
    scale_line: Array = field(repr=False)
    weight: Array = field(repr=False)
    share: Array = field(repr=False)
    scale_mean: Array = field(repr=False)
    scale_variance: Array = field(repr=False)

    @property
    def log_scale(self) -> Array:
        """Log scale at the nodes, like ``weight``."""
        return np.asarray(self.scale_line @ POWERS[:2])

    def nodes(self, what: str) -> Array:
        """Logs of a figure at the nodes: shape, scale, or an age such as b10; like ``weight``."""
        if what == "shape":
            return np.broadcast_to(self.log_shape[:, :, None], self.weight.shape)
        if what == "scale":
            return self.log_scale
        return self.log_scale + self._offset(what)[:, :, None]

    def mean(self, what: str) -> Array:
        """Posterior mean of the log of a figure; shape (n_cells,)."""
        return np.asarray((self.share * self._by_shape(what)).sum(axis=1))

    def sd(self, what: str) -> Array:
        """Posterior standard deviation of the log of a figure; shape (n_cells,)."""
        off = self._by_shape(what) - self.mean(what)[:, None]
        within = 0.0 if what == "shape" else self.scale_variance
        return np.asarray(np.sqrt((self.share * (off * off + within)).sum(axis=1)))

    def _by_shape(self, what: str) -> Array:
        """Mean of the log of a figure, the shape given."""
        return self.log_shape if what == "shape" else self.scale_mean + self._offset(what)

    def _offset(self, what: str) -> Array:
        """What to add to log scale for the log of an age, the shape given; shape (n_cells, 15)."""
        if what == "scale":
            return np.zeros_like(self.log_shape)
        try:
            share = float(what.removeprefix("b")) / 100.0 if what.startswith("b") else -1.0
        except ValueError:
            share = -1.0
        if not 0 < share < 1:
            raise FitError(
                f"No posterior of '{what}'.", "CellPosteriors.nodes(what)",
                "what: shape, scale, b10 and the like",
            )  # fmt: skip
        return np.asarray(np.log(-np.log1p(-share)) * np.exp(-self.log_shape))

    def quantile(self, what: str, share: float) -> Array:
        """Value a figure stays below with a chance; shape (n_cells,).

        From mean, deviation, skewness and kurtosis of its log (the expansion of Cornish and Fisher,
        1938; cited from memory), which is good to some hundredths of the deviation.
        """
        from scipy.special import ndtri

        nodes = self.nodes(what)
        mean = np.einsum("cij,cij->c", self.weight, nodes)
        off = nodes - mean[:, None, None]
        square = off * off
        weighted = self.weight * square
        variance = weighted.sum(axis=(1, 2))
        skew = np.einsum("cij,cij->c", weighted, off) / variance**1.5
        excess = np.einsum("cij,cij->c", weighted, square) / variance**2 - 3.0
        z = float(ndtri(share))
        at = z + (z * z - 1.0) * skew / 6.0 + (z**3 - 3.0 * z) * excess / 24.0
        at = at - (2.0 * z**3 - 5.0 * z) * skew * skew / 36.0
        return np.asarray(np.exp(mean + np.sqrt(variance) * at))

    def survival(self, age: ArrayLike) -> Array:
        """Posterior mean of the share that outlives an age, one or each cell's own; (n_cells,)."""
        log_age = np.log(np.broadcast_to(np.asarray(age, dtype=float), (len(self.weight),)))
        out, share = np.empty(len(self.weight)), np.empty((_CELLS_A_PIECE, *self.weight.shape[1:]))
        with np.errstate(over="ignore", under="ignore"):
            for first in range(0, len(out), _CELLS_A_PIECE):
                some = slice(first, min(first + _CELLS_A_PIECE, len(out)))
                hazard = share[: some.stop - first]
                line = self.scale_line[some] * -np.exp(self.log_shape[some])[:, :, None]
                line[:, :, 0] += np.exp(self.log_shape[some]) * log_age[some, None]
                np.matmul(line, POWERS[:2], out=hazard)
                np.minimum(hazard, 6.5, out=hazard)  # e^-665: to bring it to nothing takes longer
                np.exp(hazard, out=hazard)
                np.negative(hazard, out=hazard)
                np.exp(hazard, out=hazard)
                out[some] = np.einsum("cij,cij->c", self.weight[some], hazard)
        return out

    @property
    def table(self) -> pd.DataFrame:
        """One row for each cell: medians and 90 % ranges of shape, scale and B10."""
        out: dict[str, object] = {
            "n_lives": self.fits.n_lives, "n_failed": self.fits.n_failed,
        }  # fmt: skip
        for what in ("shape", "scale", "b10"):
            out |= {
                name: self.quantile(what, share)
                for name, share in ((what, 0.5), (f"{what}_lower", 0.05), (f"{what}_upper", 0.95))
            }
        return pd.DataFrame(out, index=self.fits.cells)

    @property
    def text(self) -> str:
        """One sentence."""
        some = np.isfinite(self.weight[:, 0, 0])
        none = int((self.fits.n_failed[some] == 0).sum())
        return (
            f"{count(int(some.sum()), 'cell')} told from their lives and the prior, {none} of them "
            "without a failure."
        )


def cell_posteriors(fits: CellFits, mean: ArrayLike, cov: ArrayLike) -> CellPosteriors:
    """Posterior of the Weibull law of every cell beside a normal prior of (log shape, log scale).

    Parameters
    ----------
    fits : CellFits
        Their lives are used, not their estimates; cells without a failure, or without a law, are
        told like any other. Without failures between two ages.
    mean : array_like, shape (2,) or (n_cells, 2)
        Prior means of log shape and log scale. [1, log age]
    cov : array_like, shape (2, 2)
        Prior covariance.

    Returns
    -------
    CellPosteriors

    Raises
    ------
    FitError
        The covariance is not positive definite, or failures lie between two ages.
    """
    if fits.block.has_between:
        raise FitError(
            "Failures between two ages have no posterior nodes yet.", "cell_posteriors(fits)",
            "leave such cells to fit_cells and its limits",
        )  # fmt: skip
    prior = Prior.of(mean, cov, fits.centre)
    q, scale, weight, sums = nodes(fits.block, prior)
    empty = fits.n_lives == 0
    scale[empty], weight[empty], sums[:, empty] = np.nan, np.nan, np.nan
    return CellPosteriors(
        fits=fits, log_shape=q, scale_line=scale, weight=weight, share=sums[0],
        scale_mean=sums[1], scale_variance=sums[2],
    )  # fmt: skip
