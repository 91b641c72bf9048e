"""The law of each component x duty cell, as the decisions need it."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import Component
from dutylife.decisions.age_advice import probability_wears
from dutylife.decisions.age_weibull import weibull_mean
from dutylife.decisions.usage import to_days, to_hours
from dutylife.errors import DecisionError
from dutylife.settings import Settings
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell:
    """One component in one duty: its law, its record, its costs and its use.

    ``shape``, ``scale`` and ``weights`` have shape (n_draws,), empty when no law could be drawn;
    ``longest_age`` is the longest life seen, of the pool where the answer is pooled; both on
    ``clock``. ``component_wears`` is the pooled chance that risk rises with age over all duties,
    NaN where none was pooled. ``use_per_week`` is None when no machine of the duty has its use
    known.
    """

    component: Component
    duty: str
    severe: bool
    clock: str
    basis: str
    shape: Array
    scale: Array
    weights: Array
    longest_age: float
    n_lives: int
    n_failed: int
    use_per_week: float | None
    component_wears: float = math.nan

    @property
    def has_law(self) -> bool:
        """The record, or the pool, speaks; not only the stated prior."""
        return self.basis != "starting value" and self.shape.size > 0 and self.longest_age > 0

    def in_days(self, age: float) -> float | None:
        """Return an age on the cell's clock as days."""
        return to_days(age, self.clock, self.use_per_week)

    def in_hours(self, age: float) -> float | None:
        """Return an age on the cell's clock in meter units."""
        return to_hours(age, self.clock, self.use_per_week)

    def sooner(self, hours: float | None, days: float | None) -> float | None:
        """Whichever of two stated times comes first, on the cell's clock; None where not known."""
        convert = to_hours if self.clock == "hours" else to_days
        stated = [(hours, "hours"), (days, "days")]
        given = [convert(v, clock, self.use_per_week) for v, clock in stated if v is not None]
        return min((v for v in given if v is not None), default=None)

    def per_1000_hours(self, rate: float) -> float:
        """Return a cost per unit of the clock per 1000 meter units; per 1000 days without a use."""
        hours = self.in_hours(1.0)
        return 1000 * rate / (hours if hours else 1.0)

    @property
    def per_year(self) -> float | None:
        """Units of the clock a machine goes through in a year, None without a use."""
        if self.clock != "hours":
            return DAYS_PER_YEAR
        return None if not self.use_per_week else self.use_per_week * DAYS_PER_YEAR / 7

    @property
    def probability_wears(self) -> float:
        """Chance that risk rises with age: the component's over its duties, or here [1]."""
        return float(np.fmax(probability_wears(self.shape, self.weights), self.component_wears))

    def survive(self, age: float) -> float:
        """Share of parts still working at an age on the cell's clock [1]."""
        return float(self.weights @ np.exp(-((age / self.scale) ** self.shape)))

    @property
    def defect_rate(self) -> float:
        """Mean over draws of 1 / mean life, per unit of the clock."""
        return float(self.weights @ (1 / weibull_mean(self.shape, self.scale)))


def cells_of(
    life_draws: pd.DataFrame,
    life_models: pd.DataFrame,
    failure_events: pd.DataFrame,
    known: dict[str, Component],
    use: dict[str, float],
    settings: Settings,
) -> list[Cell]:
    """Return the cells of the record and of the draws, by component then duty.

    Raises
    ------
    DecisionError
        A cell has draws only of single failure modes, or of a law other than Weibull.
    """
    draws = law_draws(life_draws)
    models = life_models.astype({"component": "object", "duty": "object", "clock": "object"})
    models = models.assign(
        longest=models["longest_life_hours"].where(
            models["clock"] == "hours", models["longest_life_days"]
        )
    )
    pool = models.groupby(["component", "clock"])["longest"].max().to_dict()
    model_of = {(m["component"], m["duty"]): m for m in models.to_dict("records")}
    lives = failure_events[["component", "duty"]].astype(object).drop_duplicates()
    keys = set(model_of) | set(draws) | set(lives.itertuples(index=False, name=None))
    return [
        _cell(
            known.get(name, Component(name=name)),
            duty,
            draws.get((name, duty)),
            model_of.get((name, duty)),
            pool,
            use_per_week=use.get(duty),
            severe=duty in settings.duty.severe,
        )
        for name, duty in sorted(keys)
    ]


def law_draws(life_draws: pd.DataFrame) -> dict[tuple[str, str], pd.DataFrame]:
    """Return the draws of each component x duty, in the order of ``draw``.

    Raises
    ------
    DecisionError
        A cell has draws only of single failure modes, or of a law other than Weibull.
    """
    words = ["component", "duty", "failure_mode", "clock", "distribution", "basis"]
    frame = life_draws.astype(dict.fromkeys(words, "object"))
    whole = frame[frame["failure_mode"].fillna("") == ""]
    other = set(whole["distribution"].dropna()) - {"weibull", "exponential"}
    if other:
        raise DecisionError(
            f"Decisions need Weibull draws; these are {', '.join(sorted(other))}.",
            "life_draws: distribution",
            "fit the cell with the Weibull law",
        )
    cells = ["component", "duty"]
    missing = set(frame[cells].drop_duplicates().itertuples(index=False, name=None)) - set(
        whole[cells].drop_duplicates().itertuples(index=False, name=None)
    )
    if missing:
        raise DecisionError(
            f"{len(missing)} cells have draws of single failure modes only.",
            "life_draws: " + "; ".join(f"{c} in {d}" for c, d in sorted(missing)[:5]),
            "give the draws of all modes together, with a blank failure_mode",
        )
    whole = whole.sort_values([*cells, "draw"], kind="stable")
    return {(str(c), str(d)): f for (c, d), f in whole.groupby(cells)}


def _cell(
    component: Component,
    duty: str,
    draws: pd.DataFrame | None,
    model: dict[Any, Any] | None,
    pool: dict[Any, float],
    *,
    use_per_week: float | None,
    severe: bool,
) -> Cell:
    clock, basis, longest = component.clock, "starting value", 0.0
    if model is not None:
        clock, basis = model["clock"], model["basis"]
        longest = model["longest"]
    if draws is not None:
        clock = draws["clock"].iloc[0]
        basis = draws["basis"].iloc[0] if isinstance(draws["basis"].iloc[0], str) else basis
    if basis == "pooled":
        longest = pool.get((component.name, clock), longest)
    empty = np.empty(0)
    weights = empty if draws is None else draws["weight"].to_numpy(dtype=float)
    return Cell(
        component=component,
        duty=duty,
        severe=severe,
        clock=str(clock),
        basis=str(basis),
        shape=empty if draws is None else draws["shape"].to_numpy(dtype=float),
        scale=empty if draws is None else draws["scale"].to_numpy(dtype=float),
        weights=weights / weights.sum() if weights.size else empty,
        longest_age=float(longest) if np.isfinite(longest) else 0.0,
        n_lives=0 if model is None else int(model["n_lives"]),
        n_failed=0 if model is None else int(model["n_failed"]),
        component_wears=math.nan
        if model is None
        else float(model.get("component_wears", math.nan)),
        use_per_week=use_per_week,
    )
