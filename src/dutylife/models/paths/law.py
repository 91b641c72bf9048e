"""A fitted law of condition readings over age, and the age at which parts reach a limit."""

from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.models.paths import crossings
from dutylife.models.paths.ages import AGE_COLUMNS, NEW_PART, age_row, new_ages, own_ages
from dutylife.models.paths.draws import Draws
from dutylife.models.paths.rows import Direction, Readings, Scale, Sums
from dutylife.wording import count, number, percent

Array = NDArray[np.float64]
Start = Literal["common", "independent", "correlated"]
WHAT = ("start", "drift", "start_sd", "drift_sd", "correlation", "measurement_sd")


@dataclass(frozen=True, slots=True, kw_only=True)
class PathModel:
    """Straight paths of readings whose start and drift differ from part to part.

    ``drift`` is the mean rise of a reading for each unit of age, ``drift_sd`` the standard
    deviation of drift between parts, ``measurement_sd`` that of a reading about its part's path;
    on a log scale all are of the logarithm of the reading. ``start`` is the mean reading of a new
    part; ``start_kind`` says whether parts start alike ("common"), unlike ("independent" of
    drift) or unlike with a ``correlation`` to drift ("correlated"). By maximum likelihood, which
    takes the three standard deviations a little small in small fleets; the bounds do not.
    ``loglik`` is that of the readings on both scales, so that the scales can be compared.
    """

    scale: Scale
    direction: Direction
    limit: float | None
    level: float
    n_parts: int
    n_readings: int
    start_kind: Start
    start: float
    drift: float
    start_sd: float
    drift_sd: float
    correlation: float
    measurement_sd: float
    loglik: float
    notes: tuple[str, ...]
    seed: int
    rows: Readings = field(repr=False, compare=False)
    sums: Sums = field(repr=False, compare=False)
    draws: Draws = field(repr=False, compare=False)

    @property
    def _sign(self) -> float:
        return 1.0 if self.direction == "up" else -1.0

    def bounds(self, what: str, level: float | None = None) -> tuple[float, float]:
        """Lower and upper bound of a figure of the law.

        Parameters
        ----------
        what : {"start", "drift", "start_sd", "drift_sd", "correlation", "measurement_sd"}
        level : float, optional
            Level of the two-sided range; the model's own by default. [1]

        Raises
        ------
        FitError
            A figure or level that is not known.

        Notes
        -----
        Quantiles of draws weighed by the likelihood, each standard deviation flat before the
        data; they always hold the figure itself.
        """
        share = self._level(level)
        if what not in WHAT:
            raise FitError(
                f"There are no bounds of '{what}'.", "PathModel.bounds(what, level)",
                "what: " + ", ".join(WHAT),
            )  # fmt: skip
        if (what in ("start_sd", "correlation") and self.start_kind == "common") or (
            what == "correlation" and self.start_kind == "independent"
        ):
            return np.nan, np.nan
        low, high = np.quantile(self._drawn(what), [(1 - share) / 2, (1 + share) / 2])
        value = float(getattr(self, what))
        return min(float(low), value), max(float(high), value)

    def _drawn(self, what: str) -> Array:
        """Draws of a figure in readings and ages as given."""
        draws, unit, age = self.draws, self.sums.reading_unit, self.sums.age_unit
        between = draws.between
        if what == "correlation":
            spread = np.sqrt(between.start * between.slope)
            safe = np.where(spread > 0, spread, 1.0)
            found: Array = np.where(spread > 0, between.both / safe, 0.0)
            return found
        figures = {
            "start": lambda: self._sign * (self.sums.centre + unit * draws.mean[:, 0]),
            "drift": lambda: self._sign * unit / age * draws.mean[:, 1],
            "start_sd": lambda: unit * draws.noise * np.sqrt(between.start),
            "drift_sd": lambda: unit / age * draws.noise * np.sqrt(between.slope),
            "measurement_sd": lambda: unit * draws.noise,
        }
        return np.asarray(figures[what](), dtype=float)

    @property
    def table(self) -> pd.DataFrame:
        """Each figure of the law with its bounds: columns value, lower, upper."""
        rows = {w: (float(getattr(self, w)), *self.bounds(w)) for w in WHAT}
        return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "lower", "upper"])

    def time_to_limit(
        self,
        limit: float | None = None,
        part: Hashable | None = None,
        level: float | None = None,
    ) -> pd.DataFrame:
        """Age at which a part's own path reaches the limit.

        Parameters
        ----------
        limit : float, optional
            In the unit of the readings; the model's own by default.
        part : hashable, optional
            A part that was read: its age given its readings. Without it a new part of the same
            kind.
        level : float, optional
            Level of the two-sided range; the model's own by default. [1]

        Returns
        -------
        DataFrame
            One row, columns part, n_readings, last_age, age_at_limit (half of such parts have
            reached it), lower, upper, share_never (probability that the path never gets there:
            its drift is 0 or away from the limit), share_over_now (that it got there by
            ``last_age``). Ages are those of the part, not the time left; ``inf`` where the
            share that never gets there reaches so far. The range is of one part: how parts
            differ, what its readings say and what is not known of the law.

        Raises
        ------
        FitError
            No limit, a limit that new parts are beyond on average, or a part that was not read.

        Notes
        -----
        A path is drawn on as straight as it was; the age is that of the path, not of the first
        reading that would show it.
        """
        share = self._level(level)
        height = self._height(limit, "PathModel.time_to_limit(limit)")
        if part is None:
            told: tuple[Hashable, int, float] = (NEW_PART, 0, np.nan)
            ages = new_ages(self.sums, self.draws, height, self.seed)
        else:
            if part not in self.rows.parts:
                raise FitError(
                    f"Part '{part}' was not read.", "PathModel.time_to_limit(limit, part)",
                    f"one of the {count(self.n_parts, 'part')} given, or none for a new part",
                )  # fmt: skip
            at = self.rows.parts.index(part)
            ages, told = self._own_ages(at, height), self._told(at)
        return pd.DataFrame([age_row(told, ages, share)], columns=AGE_COLUMNS)

    def parts_to_limit(
        self, limit: float | None = None, level: float | None = None
    ) -> pd.DataFrame:
        """Rows of `time_to_limit` for every part that was read, in order of first appearance.

        Raises
        ------
        FitError
            As of `time_to_limit`.
        """
        share = self._level(level)
        height = self._height(limit, "PathModel.parts_to_limit(limit)")
        rows = [
            age_row(self._told(at), self._own_ages(at, height), share) for at in range(self.n_parts)
        ]
        return pd.DataFrame(rows, columns=AGE_COLUMNS)

    def crossings(self, limit: float | None = None) -> pd.DataFrame:
        """Age at which each part's readings first reach the limit; see `crossing_ages`.

        Straight between two readings as read, on a log scale too.

        Raises
        ------
        FitError
            No limit.
        """
        reading = self._sign * self.rows.reading
        if self.scale == "log":
            reading = np.exp(reading)
        given = crossings.checked_limit(self._given(limit), "PathModel.crossings(limit)")
        names = pd.Series(list(self.rows.parts), dtype="object").to_numpy()[self.rows.code]
        return crossings.crossing_ages(
            names, self.rows.age, reading, given, direction=self.direction
        )

    def lives(self, limit: float | None = None) -> pd.DataFrame:
        """Age at which each part's own line reaches the limit (pseudo failure age).

        Returns
        -------
        DataFrame
            Columns of `crossing_ages`. The line is that of least squares through the part's own
            readings alone; a part whose line does not run towards the limit, or that was read at
            one age, is right censored at its last age.

        Raises
        ------
        FitError
            As of `time_to_limit`.

        Notes
        -----
        After Meeker and Escobar (1998), chapter 13: the ages go to `fit_law` as if they were
        exact; that a line drawn on is in error is ignored, which makes lives look more unlike
        than they are. `time_to_limit` does not ignore it.
        """
        sums = self.sums
        height = self._height(limit, "PathModel.lives(limit)")
        seen = self.rows.ages_of_parts() > 1
        slope = np.where(seen, sums.slope * sums.reading_unit / sums.age_unit, 0.0)
        start = np.where(
            seen, sums.centre + sums.reading_unit * sums.start, -np.inf
        )  # read once: no line of its own
        return crossings.own_line_ages(self.rows, start, slope, height)

    @property
    def text(self) -> str:
        """What the readings tell in plain sentences, with what limits it (``notes``)."""
        low, high = self.bounds("drift")
        verb = "rise" if self.drift >= 0 else "fall"
        if self.drift < 0:
            low, high = -high, -low
        of = f"the logarithm of readings {verb}s" if self.scale == "log" else f"readings {verb}"
        told = (
            f"By {count(self.n_readings, 'reading')} of {count(self.n_parts, 'part')}, {of} "
            f"by {number(abs(self.drift))} for each unit of age ({100 * self.level:.0f} % range "
            f"{number(low)} to {number(high)}); standard deviation "
            f"{number(self.drift_sd)} between parts, "
            f"{number(self.measurement_sd)} of a measurement."
        )
        limit = () if self.limit is None else (self._limit_text(self.limit),)
        return " ".join((told, *limit, *self.notes))

    def _limit_text(self, limit: float) -> str:
        row = self.time_to_limit(limit).iloc[0]
        never = float(row["share_never"])
        lost = (
            f"{percent(never)} of parts never reach it"
            if never > 0
            else "no draw of a part never reaches it"
        )
        if not np.isfinite(row["age_at_limit"]):
            return f"Half of new parts or more never reach {number(limit)}: {lost}."
        upper = f"and {number(row['upper'])}" if np.isfinite(row["upper"]) else "and never"
        last = float(self.rows.age.max())
        beyond = (
            f", beyond the highest age read ({number(last)})" if row["age_at_limit"] > last else ""
        )
        return (
            f"Half of new parts reach {number(limit)} by age "
            f"{number(row['age_at_limit'])}{beyond}, {100 * self.level:.0f} % of them between "
            f"{number(row['lower'])} {upper}; {lost}."
        )

    def _level(self, level: float | None) -> float:
        share = self.level if level is None else level
        if not 0 < share < 1:
            raise FitError(f"A level of {share} can't be.", "PathModel", "0 < level < 1")
        return share

    def _given(self, limit: float | None) -> float | None:
        return self.limit if limit is None else limit

    def _height(self, limit: float | None, where: str) -> float:
        """Limit on the scale of ``rows``, where every path rises to it."""
        given = crossings.checked_limit(self._given(limit), where, self.scale)
        height = self._sign * (float(np.log(given)) if self.scale == "log" else given)
        if self._sign * self.start >= height:
            new = float(np.exp(self.start)) if self.scale == "log" else self.start
            raise FitError(
                f"New parts read {number(new)} on average, which is beyond the limit of "
                f"{number(given)} already.",
                where,
                f"readings were said to go {self.direction} to the limit: check the direction and "
                "the limit",
            )
        return height

    def _told(self, at: int) -> tuple[Hashable, int, float]:
        mine = self.rows.code == at
        return self.rows.parts[at], int(mine.sum()), float(self.rows.age[mine].max())

    def _own_ages(self, at: int, height: float) -> Array:
        return own_ages(self.sums, self.draws, at, height, self.seed)
