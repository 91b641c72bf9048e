"""Fits the drift of a condition reading: straight paths that differ from part to part."""

from typing import Literal, get_args, overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.paths import likelihood
from dutylife.models.paths.crossings import checked_limit, sign_of
from dutylife.models.paths.draws import best, draw_laws, space_of
from dutylife.models.paths.law import PathModel, Start
from dutylife.models.paths.likelihood import Between
from dutylife.models.paths.rows import (
    Direction,
    Readings,
    Scale,
    Sums,
    bend_of,
    checked_readings,
    sums_of,
)
from dutylife.wording import count

Array = NDArray[np.float64]
WHERE = "path_model(part, age, reading)"
N_DRAWS = 4000
FEWEST_PARTS = 3
ENOUGH_PARTS = 5
NO_SCATTER = 1e-5  # of measurement, as a share of the spread of all readings
BENT = 3.0  # standard errors of the mean bend


@overload
def path_model(
    part: ArrayLike,
    age: ArrayLike,
    reading: ArrayLike,
    *,
    limit: float | None = ...,
    by: None = ...,
    scale: Scale = ...,
    direction: Direction = ...,
    start: Start | Literal["auto"] = ...,
    level: float = ...,
    seed: int = ...,
) -> PathModel: ...


@overload
def path_model(
    part: ArrayLike,
    age: ArrayLike,
    reading: ArrayLike,
    *,
    limit: float | None = ...,
    by: ArrayLike,
    scale: Scale = ...,
    direction: Direction = ...,
    start: Start | Literal["auto"] = ...,
    level: float = ...,
    seed: int = ...,
) -> dict[object, PathModel]: ...


def path_model(
    part: ArrayLike,
    age: ArrayLike,
    reading: ArrayLike,
    *,
    limit: float | None = None,
    by: ArrayLike | None = None,
    scale: Scale = "linear",
    direction: Direction = "up",
    start: Start | Literal["auto"] = "auto",
    level: float = 0.90,
    seed: int = 0,
) -> PathModel | dict[object, PathModel]:
    """Fit the drift of a condition reading with age: reading = start + drift x age + error.

    Start and drift are a part's own, normal between parts; the error of a measurement is normal
    and independent. Parts of unlike nominal value are brought together by dividing their readings
    (and the limit) by it.

    Parameters
    ----------
    part : array_like, shape (n,)
        Which part each reading is of; a new part in the same place is another part.
    age : array_like, shape (n,)
        Age of the part at the reading. [one unit for all]
    reading : array_like, shape (n,)
        Condition readings in one unit. Several readings of a part at one age are repeats.
    limit : float, optional
        Reject limit, in the unit of the readings; may be given later.
    by : array_like, shape (n,), optional
        Group (duty) of each reading: a law for each, and a dict of them is returned.
    scale : {"linear", "log"}
        "log" where readings grow by a share of themselves; all figures are then of the logarithm.
    direction : {"up", "down"}
        Whether readings rise to the limit or fall to it.
    start : {"auto", "common", "independent", "correlated"}
        Whether all parts start from one reading, or from their own, in step with their drift or
        not. "auto" takes what the readings can tell: correlated from 5 parts read at 3 ages each,
        independent from 5 parts read at 2, else common.
    level : float
        Level of the bounds. [1]
    seed : int
        Of the draws behind the bounds.

    Returns
    -------
    PathModel, or a dict of them with ``by``

    Raises
    ------
    FitError
        Readings that can't stand, with counts; fewer than 3 parts read at two ages; readings that
        are all the same, or lie on their lines without any scatter; an option that is not known.

    Notes
    -----
    Maximum likelihood: with the two standard deviations between parts as multiples of that of
    measurement, mean path and measurement have closed forms (Laird and Ware, 1982; Lu and Meeker,
    1993, for readings that run to a limit), so that at most three figures are searched. Bounds are
    from draws weighed by the likelihood, which stand where a standard deviation is near 0, as
    normal theory does not. A straight path is assumed: compare ``loglik`` of the two scales.
    """
    _require(scale, direction, start, level, limit)
    if by is not None:
        return _by_group(part, age, reading, by, limit, scale, direction, start, level, seed)
    rows = checked_readings(part, age, reading, WHERE, above_zero=scale == "log")
    sign = sign_of(direction, WHERE)
    height = sign * (np.log(rows.reading) if scale == "log" else rows.reading)
    rows = Readings(rows.parts, rows.code, rows.age, height)
    n_ages = rows.ages_of_parts()
    _require_paths(rows, n_ages)
    kind = _start_kind(n_ages) if start == "auto" else start
    sums = sums_of(rows)
    space = space_of(sums, has_start=kind != "common", has_correlation=kind == "correlated")
    top = best(sums, space)
    between = space.between(top[None, :])
    found = likelihood.fitted(sums, between)
    n = len(rows.age)
    noise = float(np.sqrt(found.squares[0] / n))
    if noise < NO_SCATTER:
        _require_scatter(sums, between, n)
    loglik = float(likelihood.log_likelihood(sums, between)[0]) - n * np.log(sums.reading_unit)
    if scale == "log":
        loglik -= float((sign * rows.reading).sum())
    spread_start, spread_slope = np.sqrt(between.start[0]), np.sqrt(between.slope[0])
    tied = spread_start * spread_slope
    unit = sums.reading_unit
    return PathModel(
        scale=scale,
        direction=direction,
        limit=None if limit is None else float(limit),
        level=level,
        n_parts=rows.n_parts,
        n_readings=n,
        start_kind=kind,
        start=float(sign * (sums.centre + unit * found.mean[0, 0])),
        drift=float(sign * unit / sums.age_unit * found.mean[0, 1]),
        start_sd=float(unit * noise * spread_start),
        drift_sd=float(unit / sums.age_unit * noise * spread_slope),
        correlation=float(between.both[0] / tied) if kind == "correlated" and tied else np.nan,
        measurement_sd=unit * noise if noise >= NO_SCATTER else 0.0,
        loglik=float(loglik),
        notes=(*_notes(rows, n_ages, kind, given=start != "auto"), *_bend_note(rows)),
        seed=seed,
        rows=rows,
        sums=sums,
        draws=draw_laws(sums, space, top, N_DRAWS, np.random.default_rng([seed, 0])),
    )


def _require(scale: str, direction: str, start: str, level: float, limit: float | None) -> None:
    faults = []
    if scale not in get_args(Scale):
        faults.append((f"a scale '{scale}' is not known", "'linear' or 'log'"))
    if start not in ("auto", *get_args(Start)):
        faults.append(
            (f"a start '{start}' is not known", "'auto', " + ", ".join(map(repr, get_args(Start))))
        )
    if not 0 < level < 1:
        faults.append((f"a level of {level} can't be", "0 < level < 1"))
    if faults:
        raise FitError(
            "; ".join(what for what, _ in faults).capitalize() + ".",
            "path_model(scale=, start=, level=)",
            "; ".join(mend for _, mend in faults),
        )
    sign_of(direction, "path_model(direction=)")
    if limit is not None:
        checked_limit(limit, "path_model(limit=)", "log" if scale == "log" else "linear")


def _require_paths(rows: Readings, n_ages: NDArray[np.int64]) -> None:
    twice = int((n_ages > 1).sum())
    if twice < FEWEST_PARTS:
        once = int((n_ages == 1).sum())
        raise FitError(
            f"{count(twice, 'part')} of {rows.n_parts} were read at two ages or more, {once} at "
            f"one age only: how drift differs between parts takes {FEWEST_PARTS}.",
            WHERE,
            "read the same parts again, also when new, and keep which part each reading is of",
        )
    if float(np.ptp(rows.reading)) == 0.0:
        raise FitError(
            f"All {count(len(rows.reading), 'reading')} are the same: no drift and no error of "
            "measurement can be told.",
            WHERE, "look whether a nominal value was written down in place of a reading",
        )  # fmt: skip


def _require_scatter(sums: Sums, between: Between, n: int) -> None:
    """Refuse readings whose likelihood rises for ever as measurement goes to 0."""
    tenth = Between(100.0 * between.start, 100.0 * between.both, 100.0 * between.slope)
    now, then = (likelihood.log_likelihood(sums, law)[0] for law in (between, tenth))
    if then - now > 0.5:
        raise FitError(
            f"All {count(n, 'reading')} lie on straight lines without scatter: what a "
            "measurement is out by can't be told.",
            WHERE, "give readings as they were taken, to all digits, not smoothed or drawn in",
        )  # fmt: skip


def _start_kind(n_ages: NDArray[np.int64]) -> Start:
    if (n_ages >= 3).sum() >= ENOUGH_PARTS:
        return "correlated"
    return "independent" if (n_ages >= 2).sum() >= ENOUGH_PARTS else "common"


def _notes(
    rows: Readings, n_ages: NDArray[np.int64], kind: Start, *, given: bool
) -> tuple[str, ...]:
    notes = []
    repeats = len(rows.age) - int(n_ages.sum())
    if repeats:
        notes.append(
            f"{count(repeats, 'reading')} of a part at an age it was read at before: taken as "
            "repeats of one measurement."
        )
    once = int((n_ages == 1).sum())
    if once:
        notes.append(
            f"{count(once, 'part')} read at one age only: their drift is taken from the others."
        )
    if kind != "correlated" and not given:
        notes.append(
            "Too few parts read at three ages to tell whether start and drift go together."
            if kind == "independent"
            else "Too few parts to tell how starts differ: all are taken to start alike."
        )
    return tuple(notes)


def _bend_note(rows: Readings) -> tuple[str, ...]:
    """A note where the parts' readings bend one way beyond what scatter does."""
    bend = bend_of(rows)
    if abs(bend) < BENT:
        return ()
    faster, late = ("ever faster", "late") if bend > 0 else ("ever more slowly", "early")
    return (
        f"Readings run towards the limit {faster}, not straight ({abs(bend):.0f} standard errors): "
        f"ages beyond those read come out too {late}; the other scale may fit better.",
    )


def _by_group(
    part: ArrayLike, age: ArrayLike, reading: ArrayLike, by: ArrayLike, limit: float | None,
    scale: Scale, direction: Direction, start: Start | Literal["auto"], level: float, seed: int,
) -> dict[object, PathModel]:  # fmt: skip
    columns = [np.atleast_1d(np.asarray(v, dtype=object)) for v in (part, age, reading, by)]
    groups = columns[3]
    if len({len(c) for c in columns}) > 1 or pd.isna(groups).any():
        raise FitError(
            f"{len(groups)} groups for {len(columns[2])} readings, or some missing.",
            "path_model(by=)", "give the group of each reading",
        )  # fmt: skip
    out: dict[object, PathModel] = {}
    for group in sorted(set(groups), key=lambda g: (str(type(g)), g)):
        mine = groups == group
        try:
            out[group] = path_model(
                columns[0][mine], columns[1][mine], columns[2][mine], limit=limit, scale=scale,
                direction=direction, start=start, level=level, seed=seed,
            )  # fmt: skip
        except FitError as error:
            raise type(error)(f"Group '{group}': {error.what}", error.where, error.mend) from error
    return out
