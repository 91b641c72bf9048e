"""Which law do these lives follow, as far as they can tell: evidence and adequacy of each."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.adequacy import Adequacy, AnyLaw, adequacy
from dutylife.models.checks import checked_lives
from dutylife.models.curved import Curved
from dutylife.models.fitting import fit_law
from dutylife.models.laws import Law
from dutylife.wording import count, number, span

LAWS: tuple[Law | Curved, ...] = ("exponential", "weibull", "lognormal", "log-logistic", "gamma")
REJECTED = 0.05  # chance of so great a distance down from which a law is said not to fit
ALIKE = 2.0  # difference of Akaike's criterion up to which laws are not told apart (a convention)
FEWEST_DRAWS = 19  # below it no chance can fall to 0.05
COLUMNS = [
    "law", "n_parameters", "loglik", "aic", "aic_difference", "aic_weight", "distance", "p_value",
    "p_value_error", "fits", "b10", "b50", "mean",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class LawChoice:
    """Laws fitted to the same lives, each with its evidence; ``not_fitted`` says why one is not."""

    n_lives: int
    n_failed: int
    checked: tuple[Adequacy, ...]
    not_fitted: tuple[tuple[str, str], ...]

    @property
    def table(self) -> pd.DataFrame:
        """A row by law, lowest Akaike's criterion first; see ``COLUMNS``.

        ``aic_weight``: exp(-difference / 2), the laws' adding up to 1. ``fits``: the distance
        test does not reject it at 0.05.
        """
        rows = [
            (
                c.law.law, len(c.law.parameters), c.law.loglik, c.law.aic, math.nan, math.nan,
                c.distance, c.p_value, c.p_value_error, c.p_value > REJECTED,
                float(c.law.quantile(0.1)), float(c.law.quantile(0.5)), c.law.mean(),
            )
            for c in self.checked
        ]  # fmt: skip
        frame = pd.DataFrame(rows, columns=COLUMNS).sort_values("aic", kind="stable")
        frame["aic_difference"] = frame["aic"] - frame["aic"].min()
        weight = np.exp(-frame["aic_difference"] / 2.0)
        frame["aic_weight"] = weight / weight.sum()
        return frame.reset_index(drop=True)

    @property
    def alike(self) -> tuple[str, ...]:
        """Laws the data can't tell apart: not rejected, within 2 of the lowest criterion of these.

        Empty where every law is rejected.
        """
        fitting = self.table[lambda t: t["fits"]]
        return tuple(fitting.loc[fitting["aic"] <= fitting["aic"].min() + ALIKE, "law"])

    def law(self, name: str = "") -> AnyLaw:
        """A fitted law by its name; without one the first of ``alike``.

        Raises
        ------
        FitError
            No law of that name was fitted, or every law is rejected.
        """
        return self.adequacy(name).law

    def adequacy(self, name: str = "") -> Adequacy:
        """A law's residuals, plot and distance test; without a name of the first of ``alike``.

        Raises
        ------
        FitError
            No law of that name was fitted, or every law is rejected.
        """
        wanted = name or next(iter(self.alike), "")
        found = [c for c in self.checked if c.law.law == wanted]
        if not found:
            raise FitError(
                f"There is no fitted law '{name}'." if name else "Every law is rejected.",
                "LawChoice.law(name)",
                "one of: " + ", ".join(c.law.law for c in self.checked),
            )
        return found[0]

    @property
    def text(self) -> str:
        """One sentence."""
        seen = f"{count(self.n_failed, 'failure')} in {count(self.n_lives, 'life', 'lives')}"
        table, alike = self.table.set_index("law"), self.alike
        if not alike:
            closest = table["p_value"].idxmax()
            return (
                f"{seen}: none of {count(len(table), 'law')} fits (the closest, {closest}, has a "
                f"chance of {number(float(table['p_value'].max()))}); look for mixed causes, "
                "batches or early failures."
            )
        out = [n for n in table.index if not table.loc[n, "fits"]]
        not_these = f" {', '.join(out)} do{'es' if len(out) == 1 else ''} not fit." if out else ""
        if self.not_fitted:
            not_these += f" No fit of {', '.join(name for name, _ in self.not_fitted)}."
        if len(alike) == 1:
            return f"{seen}: the {alike[0]} law tells these lives best.{not_these}"
        b10 = table.loc[list(alike), "b10"]
        return (
            f"{seen}: the data can't tell {', '.join(alike[:-1])} and {alike[-1]} apart; one in "
            f"ten has failed by {span(b10.min(), b10.max(), '').rstrip()}, as the law is "
            f"chosen.{not_these}"
        )


def choose_law(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    laws: Sequence[Law | Curved] = LAWS,
    n_simulated: int = 199,
    seed: int = 0,
) -> LawChoice:
    """Fit several laws to the same lives and say which of them the lives bear out.

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default.
    laws : sequence of str
        By default exponential, weibull, lognormal, log-logistic and gamma.
    n_simulated : int
        Draws by which each law's distance to the lives is judged; 19 or more.
    seed : int
        Of the draws.

    Returns
    -------
    LawChoice

    Raises
    ------
    TooFewFailuresError
        No two failures at unlike ages.
    FitError
        Lives that can't stand, a law that is not known, or none that can be fitted.

    Notes
    -----
    The distance is Anderson-Darling's, of each failure's share of the total hazard lived under the
    fitted law; its chance comes from refitting the law to lives drawn from it (parametric
    bootstrap), watched from the same entries to the same ends; the end of watching of a life that
    failed is drawn from the product-limit curve of the others' ends beyond its age. That holds
    where watching ends for reasons apart from the part's state. Rows of unequal weight can't be
    drawn and are not taken. Where laws are not told apart, go by the one that costs least to be
    wrong about, not by the first.
    """
    ages, failed, starts, _ = checked_lives(exit, event, entry, None)
    known = get_args(Law) + get_args(Curved)
    strange = [name for name in laws if name not in known]
    if strange or not laws or n_simulated < FEWEST_DRAWS:
        raise FitError(
            f"Laws {', '.join(map(str, laws)) or 'none'} with {n_simulated} draws can't be tried.",
            "choose_law(laws=, n_simulated=)",
            f"laws of: {', '.join(known)}; {FEWEST_DRAWS} draws or more",
        )
    if len(np.unique(ages[failed])) < 2:
        raise TooFewFailuresError(
            f"{count(int(failed.sum()), 'failure')}, not at two unlike ages, in "
            f"{count(len(ages), 'life', 'lives')}: no law can be told from another.",
            "choose_law(exit, event)",
            "wait for failures; fit_law('exponential', ...) gives a bound of life without any",
        )
    checked, missing, errors = [], [], []
    for i, name in enumerate(laws):
        try:
            law = _fitted(name, ages, failed, starts)
        except FitError as error:
            missing.append((str(name), error.what))
            errors.append(error)
            continue
        checked.append(
            adequacy(
                law,
                lambda a, d, e, name=name: _fitted(name, a, d, e),  # type: ignore[misc]
                [seed, i],
                n_simulated,
            )
        )
    if not checked:
        raise errors[-1]
    return LawChoice(
        n_lives=len(ages),
        n_failed=int(failed.sum()),
        checked=tuple(checked),
        not_fitted=tuple(missing),
    )


def _fitted(name: Law | Curved, ages: ArrayLike, failed: ArrayLike, starts: ArrayLike) -> AnyLaw:
    """A law that can be drawn from: one with a failure behind it."""
    if not np.any(failed):  # drawn so; an exponential law would be endless
        raise TooFewFailuresError("No failure was drawn.", "choose_law(event)")
    law = fit_law(name, ages, failed, entry=starts)
    assert not isinstance(law, dict)
    return law
