"""Accelerated life: log age shifts by a sum over covariates (Weibull and its kin)."""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.general import climb
from dutylife.models.laws import Law, standard_quantile
from dutylife.wording import count, number

if TYPE_CHECKING:
    from dutylife.models.between import Checked

Array = NDArray[np.float64]
INTERCEPT = "intercept"


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeRegression:
    """A fitted accelerated life law: log age = intercept + sum of coefficient x covariate + noise.

    ``covariance`` is that of the coefficients and, where it was free, log spread (last).
    ``loglik`` is that of ages; ``failed_log_ages``, the sum of log ages of failures at a known
    age, turns it into that of log ages (`loglik_on`). ``levels`` holds the words of each column
    of words, the first the one others are told from.
    """

    law: Law
    names: tuple[str, ...]
    coefficients: tuple[float, ...]
    spread: float
    covariance: tuple[tuple[float, ...], ...] = field(repr=False)
    spread_held: bool
    loglik: float
    n_lives: int
    n_failed: int
    levels: tuple[tuple[str, tuple[str, ...]], ...]
    columns: tuple[str, ...]
    failed_log_ages: float = field(repr=False)

    @property
    def shape(self) -> float:
        """Weibull or log-logistic shape, 1 / spread [1]."""
        return 1.0 / self.spread

    @property
    def intercept(self) -> float:
        """Location of log age where every covariate is 0 or its first word [log age]."""
        return self.coefficients[0]

    @property
    def aic(self) -> float:
        """Akaike's criterion [1]."""
        free = len(self.names) + (not self.spread_held)
        return 2.0 * free - 2.0 * self.loglik

    def coefficient(self, name: str) -> float:
        """Shift of log age for one more of a covariate, or for a word (``column=word``)."""
        if name not in self.names:
            raise FitError(
                f"There is no coefficient '{name}'.", "LifeRegression.coefficient(name)",
                "one of: " + ", ".join(self.names),
            )  # fmt: skip
        return self.coefficients[self.names.index(name)]

    @property
    def table(self) -> pd.DataFrame:
        """Rows by coefficient and log_spread: value, standard_error, z, p_value, times_life.

        ``times_life``: life is multiplied by this for one more of the covariate.
        """
        values = [*self.coefficients, math.log(self.spread)]
        errors = [math.sqrt(self.covariance[i][i]) for i in range(len(self.covariance))]
        errors += [math.nan] * (len(values) - len(errors))
        frame = pd.DataFrame(
            {"value": values, "standard_error": errors}, index=[*self.names, "log_spread"]
        )
        frame["z"] = frame["value"] / frame["standard_error"]
        frame["p_value"] = [math.erfc(abs(z) / math.sqrt(2.0)) for z in frame["z"]]
        frame["times_life"] = np.exp(frame["value"])
        frame.loc["log_spread", ["z", "p_value", "times_life"]] = np.nan
        return frame

    def quantile(self, p: ArrayLike, at: dict[str, object]) -> Array:
        """Age by which a share ``p`` has failed, for given covariates, shape as ``p`` [age]."""
        location = float(self._row(at) @ np.array(self.coefficients))
        found: Array = np.asarray(np.exp(location + self.spread * self._z(p)))
        return found

    def quantile_bounds(
        self, p: float, at: dict[str, object], level: float = 0.90
    ) -> tuple[float, float]:
        """Bounds of a quantile by the delta method on the log scale [age]."""
        from scipy.special import ndtri

        half = float(ndtri(0.5 + level / 2.0)) * self.log_quantile_error(p, at)
        middle = math.log(float(self.quantile(p, at)))
        return math.exp(middle - half), math.exp(middle + half)

    def log_quantile_error(self, p: float, at: dict[str, object]) -> float:
        """Standard error of the log of a quantile [log age]."""
        slope = self._row(at)
        if not self.spread_held:
            slope = np.append(slope, self.spread * float(self._z(p)))
        return math.sqrt(float(slope @ np.array(self.covariance) @ slope))

    def survival(self, age: ArrayLike, at: dict[str, object]) -> Array:
        """Share still working at ``age`` for given covariates, shape as ``age`` [1]."""
        from dutylife.models.general import LOG_SURVIVAL

        ages = np.asarray(age, dtype=float)
        location = float(self._row(at) @ np.array(self.coefficients))
        with np.errstate(divide="ignore", over="ignore"):
            z = (np.log(ages) - location) / self.spread
            alive = np.exp(LOG_SURVIVAL[_likelihood_of(self.law)](z)[0])
        found: Array = np.where(ages <= 0, 1.0, alive)
        return found

    @property
    def text(self) -> str:
        """One sentence."""
        shifts = ", ".join(
            f"{name} x {number(math.exp(value))}"
            for name, value in zip(self.names[1:], self.coefficients[1:], strict=True)
        )
        return (
            f"{self.law.capitalize()} regression of {count(self.n_lives, 'life', 'lives')}, "
            f"{count(self.n_failed, 'failure')}: shape {number(self.shape)}; life goes with "
            f"{shifts}."
        )

    def _z(self, p: ArrayLike) -> Array:
        return standard_quantile(self.law, p)

    def _row(self, at: dict[str, object]) -> Array:
        missing = [c for c in self.columns if c not in at]
        strange = [c for c in at if c not in self.columns]
        if missing or strange:
            raise FitError(
                f"Covariates missing: {', '.join(missing) or 'none'}; not in the law: "
                f"{', '.join(map(str, strange)) or 'none'}.",
                "LifeRegression(at)",
                "give a value for each of: " + ", ".join(self.columns),
            )
        frame = pd.DataFrame({c: [at[c]] for c in self.columns})
        row: Array = design_of(frame, dict(self.levels))[0][0]
        return row


def design_of(
    covariates: pd.DataFrame, levels: dict[str, tuple[str, ...]] | None = None
) -> tuple[Array, list[str], dict[str, tuple[str, ...]]]:
    """Design matrix with an intercept, the names of its columns, the words of columns of words.

    Raises
    ------
    FitError
        A number that is missing or infinite, a missing word, a word the law has not seen.
    """
    columns: list[Array] = [np.ones(len(covariates))]
    names = [INTERCEPT]
    found: dict[str, tuple[str, ...]] = {}
    faults = []
    for name in covariates.columns:
        cells = covariates[name]
        is_number = pd.api.types.is_numeric_dtype(cells) or pd.api.types.is_bool_dtype(cells)
        if is_number and not (levels and name in levels):
            values = cells.to_numpy(dtype=float, na_value=np.nan)
            bad = ~np.isfinite(values)
            if bad.any():
                faults.append(f"'{name}' has {int(bad.sum())} missing or infinite values")
            columns.append(values)
            names.append(str(name))
            continue
        words = cells.astype("object")
        if levels is not None and name not in levels:
            faults.append(f"'{name}' takes a number, not '{words.iloc[0]}'")
            continue
        if words.isna().any():
            faults.append(f"'{name}' has {int(words.isna().sum())} missing words")
            continue
        words = words.astype(str)
        known = (levels or {}).get(str(name)) or tuple(sorted(set(words)))
        unseen = sorted(set(words) - set(known))
        if unseen:
            faults.append(f"'{name}' has words the law has not seen: {', '.join(unseen[:5])}")
        found[str(name)] = known
        for word in known[1:]:
            columns.append((words == word).to_numpy().astype(float))
            names.append(f"{name}={word}")
    if faults:
        raise FitError(
            f"{'; '.join(faults)}.", "fit_law(covariates=)",
            "fill them, leave those rows out, or fit again with those words in the data",
        )  # fmt: skip
    return np.column_stack(columns), names, found


def fit_regression(law: Law, seen: "Checked", shape: float | None) -> LifeRegression:
    """Fit by maximum likelihood; called by `fit_law`.

    Raises
    ------
    FitError
        Columns that say the same, or a likelihood without a maximum.
    """
    assert seen.covariates is not None
    design, names, levels = design_of(seen.covariates)
    # centred and scaled to climb, told back in the covariates' own units
    centre, scale = design[:, 1:].mean(axis=0), design[:, 1:].std(axis=0)
    flat = [n for n, s in zip(names[1:], scale, strict=True) if s == 0]
    if flat or np.linalg.matrix_rank(design) < design.shape[1]:
        raise FitError(
            f"Covariates that are constant or say the same: {', '.join(flat) or 'some together'}.",
            "fit_law(covariates=)",
            "leave one of them out",
        )
    inner = np.column_stack([np.ones(len(design)), (design[:, 1:] - centre) / scale])
    held = np.zeros(design.shape[1] + 1, dtype=bool)
    held[-1] = law == "exponential" or shape is not None
    start = np.zeros(len(held))
    start[0] = seen.log_centre()
    start[-1] = 0.0 if law == "exponential" else -math.log(shape or 1.5)
    rows = seen.rows(inner)
    theta, value, hessian, converged = climb(_likelihood_of(law), start, rows, held)
    exact = rows.failed & ~rows.between
    if not converged:
        raise FitError(
            f"The likelihood of the {law} regression has no maximum for these lives.",
            "fit_law(covariates=)",
            "leave out a covariate that tells failed from running lives without fail",
        )
    back = np.eye(len(held))
    back[0, 1:-1] = -centre / scale
    back[range(1, len(held) - 1), range(1, len(held) - 1)] = 1.0 / scale
    told = back @ theta
    free = ~held
    covariance = back[np.ix_(free, free)] @ np.linalg.inv(-hessian) @ back[np.ix_(free, free)].T
    return LifeRegression(
        law=law,
        names=tuple(names),
        coefficients=tuple(float(v) for v in told[:-1]),
        spread=math.exp(float(told[-1])),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        spread_held=bool(held[-1]),
        loglik=value,
        n_lives=len(seen.exit),
        n_failed=int(seen.failed.sum()),
        levels=tuple(levels.items()),
        columns=tuple(str(c) for c in seen.covariates.columns),
        failed_log_ages=float(rows.weight[exact] @ rows.log_exit[exact]),
    )


def _likelihood_of(law: str) -> str:
    """An exponential law is a Weibull law of shape 1."""
    return "weibull" if law == "exponential" else law
