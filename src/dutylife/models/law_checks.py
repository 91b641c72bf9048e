"""Whether the run's Weibull law holds for each cell's own lives; where not, what they look like."""

import math
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.components import Component, components_of
from dutylife.errors import FitError
from dutylife.models.adequacy import Residuals
from dutylife.models.batch import fit_cells
from dutylife.models.cells import CellLives, clock_of, lives_on, usable_lives
from dutylife.models.choice import choose_law
from dutylife.models.early import early_failures
from dutylife.models.fitting import fit_law
from dutylife.models.laws import LifeLaw
from dutylife.models.resample import Watching
from dutylife.provenance import seed_of
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.spread import spread
from dutylife.wording import count, number

Array = NDArray[np.float64]
FEWEST = 10  # failures below which nothing is tested: no distance could be told from chance
# lives of a cell that are looked at, drawn by the seed: 999 draws of so many take 3 s and 300 MB,
# and tell a law that is off by a few per cent
MOST_LIVES = 2000
# other laws are tried by refitting each to draws, which takes seconds for a hundred lives: on so
# many lives of a pair, and where so many pairs fail, on the worst of them (our choice)
MOST_TRIED, MOST_PAIRS_TRIED = 500, 6
FALSE_FLAGS = 0.05  # share of flags that may be false, over all cells tested
N_SIMULATED = 999  # so that a chance can fall to 0.05 with a few dozen cells tested
MOST_BETWEEN = 0.2  # share of failures known only between two looks, up to which they stand at the
# later one; beyond it the ages are too coarse for a distance
HOLDS, FAILS, TOO_FEW = "holds", "does not hold", "too few"


def check_laws(failure_events: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Hold each cell's lives against the Weibull law that the run fits to them.

    Parameters
    ----------
    failure_events : DataFrame, table "failure_events"
    settings : Settings
        Clocks, comeback days, seed.

    Returns
    -------
    DataFrame
        Table "law_checks", a row by component and duty.

    Notes
    -----
    The lives are those of the laws; a failure shared among parts counts where the part was the
    cause at least as likely as not. The distance is that of `choose_law` under the Weibull law
    fitted to the cell alone, its chance from 999 draws of that law under the same watching, each
    fitted anew; of more than 2000 lives so many are drawn, and the verdict says so.
    ``p_law_adjusted`` is that chance after Benjamini and Hochberg (1995; from memory)
    over all cells tested. Where it is below 0.05 other laws and a lot that fails early are tried
    (on 500 lives at most, and on the six cells that fit least, where more fail),
    and the verdict says what the lives look like. The run's law stays Weibull: the table says
    where an interval stands on a law that its lives do not bear out.
    """
    known = components_of(settings)
    usable = usable_lives(failure_events, settings.coding.comeback_days)
    pairs = failure_events[["component", "duty"]].astype("object").drop_duplicates()
    by_component = dict(list(usable.groupby("component", sort=True)))
    rows: list[dict[str, Any]] = []
    lives: list[CellLives] = []
    for component, duty in sorted(map(tuple, pairs.to_numpy())):
        about = known.get(component, Component(name=component))
        alike = by_component.get(component, usable.iloc[:0])
        here = alike[alike["duty"] == duty]
        clock = clock_of(here, alike, about)
        cell = lives_on(here, clock)
        seed = seed_of(settings.report.seed, "law checks", component, duty)
        rows.append({"component": component, "duty": duty, "clock": clock, "seed": seed})
        lives.append(cell)
    jobs = [(cell, row["seed"]) for cell, row in zip(lives, rows, strict=True)]
    for row, tested in zip(rows, spread(_of_cell, None, jobs, settings.compute), strict=True):
        row |= tested
    return as_table("law_checks", _judged(pd.DataFrame(rows), lives))


def _of_cell(_: None, job: tuple[CellLives, int]) -> dict[str, Any]:
    return _tested(*job)


def weibull_distance_test(
    exit_: Array, failed: NDArray[np.bool_], entry: Array, n_simulated: int, seed: int
) -> tuple[LifeLaw, float]:
    """Weibull law of lives, and the chance of so great a distance to them were it right.

    Parameters
    ----------
    exit_, failed, entry : ndarray, shape (n,)
        Checked lives. [one unit of age]
    n_simulated : int
        Draws, all fitted at once.
    seed : int

    Raises
    ------
    FitError
        No Weibull law, or half the draws carry none.
    """
    law = fit_law("weibull", exit_, failed, entry=entry)
    assert isinstance(law, LifeLaw)
    seen = Residuals.of(law, exit_, failed, entry).distance()
    rng = np.random.default_rng(seed)
    watching = Watching.of(exit_, failed, entry)
    ages, ended = _drawn(watching, law, rng, n_simulated)
    n = len(exit_)
    fits = fit_cells(
        np.repeat(np.arange(n_simulated), n), ages.ravel(), ended.ravel(),
        entry=np.tile(entry, n_simulated),
    )  # fmt: skip
    told = np.flatnonzero(fits.fitted)
    if 2 * len(told) < n_simulated:
        raise FitError(
            f"Lives drawn like these {count(int(failed.sum()), 'failure')} mostly carry no law.",
            "weibull_distance_test(exit_, failed)", "wait for failures",
        )  # fmt: skip
    shape, scale = fits.shape[told, None], fits.scale[told, None]
    distance = _distances((ages[told] / scale) ** shape, (entry / scale) ** shape, ended[told])
    beyond = int((distance >= seen).sum())
    return law, (1.0 + beyond) / (1.0 + len(told))


def _drawn(
    watching: Watching, law: LifeLaw, rng: np.random.Generator, k: int
) -> tuple[Array, NDArray[np.bool_]]:
    """``k`` sets of lives of a Weibull law under the same watching, each shape (k, n)."""
    hazard = (watching.entry / law.scale) ** law.shape
    hazard = hazard + rng.exponential(size=(k, len(watching.entry)))
    ages = np.maximum(law.scale * hazard ** (1.0 / law.shape), np.nextafter(watching.entry, np.inf))
    limits = watching.limits(rng, k)
    return np.minimum(ages, limits), ages <= limits


def _distances(exit_: Array, entry: Array, failed: NDArray[np.bool_]) -> Array:
    """`Residuals.distance` of each row of lives at once, shape (k,), from (k, n) residuals.

    Beginnings and ends of all lives are put in order; between two of them each life watched adds
    as much hazard as lies between.
    """
    k, n = exit_.shape
    at = np.concatenate([exit_, np.broadcast_to(entry, (k, n))], axis=1)
    order = np.argsort(at, axis=1, kind="stable")
    at = np.take_along_axis(at, order, axis=1)
    is_exit = order < n
    watched = np.cumsum(np.where(is_exit, -1, 1), axis=1)
    lived = np.zeros_like(at)
    np.cumsum(watched[:, :-1] * np.diff(at, axis=1), axis=1, out=lived[:, 1:])
    share = lived / lived[:, -1:]
    whose = np.where(is_exit, order, 0)
    counts = is_exit & np.take_along_axis(failed, whose, axis=1) & (share < 1.0 - 1e-12)
    rank = np.cumsum(counts, axis=1)
    total = rank[:, -1:]
    share = np.clip(share, 1e-300, 1.0 - 1e-16)
    terms = (2 * rank - 1) * np.log(share) + (2 * (total - rank) + 1) * np.log1p(-share)
    summed = np.where(counts, terms, 0.0).sum(axis=1)
    total = np.maximum(total[:, 0], 1)
    out: Array = np.where(counts.any(axis=1), -total - summed / total, 0.0)
    return out


def _once(cell: CellLives) -> NDArray[np.int64]:
    """Rows of a cell with each life once: as failed where that is as likely as not."""
    return np.flatnonzero(np.where(cell.event, cell.weight >= 0.5, cell.weight > 0.5))


def _looked_at(
    cell: CellLives, seed: int, most: int = MOST_LIVES
) -> tuple[Array, NDArray[np.bool_], Array]:
    """Exit, failed, entry of the lives that are looked at: all, or so many drawn of them."""
    rows = _once(cell)
    if len(rows) > most:
        drawn = np.random.default_rng(seed_of(seed, "lives")).choice(len(rows), most, replace=False)
        rows = rows[np.sort(drawn)]
    return cell.exit[rows], cell.event[rows], cell.entry[rows]


def _tested(cell: CellLives, seed: int) -> dict[str, Any]:
    rows = _once(cell)
    out: dict[str, Any] = {
        "n_lives": len(rows), "n_failed": int(cell.event[rows].sum()), "p_law": math.nan,
        "why_not": "",
    }  # fmt: skip
    if out["n_failed"] < FEWEST:
        out["why_not"] = f"{count(out['n_failed'], 'failure')}, {FEWEST} are needed"
    elif cell.found.sum() > MOST_BETWEEN * out["n_failed"]:
        out["why_not"] = "many failures are known only to lie between two services"
    else:
        exit_, failed, entry = _looked_at(cell, seed)
        try:
            out["p_law"] = weibull_distance_test(exit_, failed, entry, N_SIMULATED, seed)[1]
        except FitError as error:
            out["why_not"] = error.what.rstrip(".")
    return out


def _judged(table: pd.DataFrame, lives: list[CellLives]) -> pd.DataFrame:
    """Chances adjusted over all cells tested, whether the law holds, and the verdict."""
    from scipy.stats import false_discovery_control

    if table.empty:
        return table
    tested = table["p_law"].notna().to_numpy()
    adjusted = np.full(len(table), math.nan)
    if tested.any():
        adjusted[tested] = false_discovery_control(table.loc[tested, "p_law"], method="bh")
    fails = adjusted < FALSE_FLAGS
    holds = np.where(tested, np.where(fails, FAILS, HOLDS), TOO_FEW)
    out = table.assign(p_law_adjusted=adjusted, weibull=holds)
    # the least chance first, of like chances the most failures
    worst = np.lexsort((-table["n_failed"], np.where(fails, adjusted, np.inf)))[:MOST_PAIRS_TRIED]
    told = [
        {"verdict": _verdict(row)} if not failing
        else _looks_like(row, cell) if place in worst
        else {"verdict": _fails(row) + f" Other laws were tried on the {MOST_PAIRS_TRIED} pairs of "
              "component and duty that fit least."}
        for place, (row, cell, failing) in enumerate(
            zip(out.to_dict("records"), lives, fails, strict=True)
        )
    ]  # fmt: skip
    return pd.concat([out, pd.DataFrame(told, index=out.index)], axis=1)


def _verdict(row: dict[Any, Any]) -> str:
    if row["weibull"] == TOO_FEW:
        return f"not tested: {row['why_not']}"
    part = _part(row)
    if part:
        return f"nothing speaks against it{part}"
    return f"nothing speaks against it, as far as {count(row['n_failed'], 'failure')} can tell"


def _part(row: dict[Any, Any]) -> str:
    """Say that not all lives were looked at; empty where they were."""
    if row["n_lives"] <= MOST_LIVES:
        return ""
    alive = count(row["n_lives"], "life", "lives")
    return f" ({count(MOST_LIVES, 'life', 'lives')} of {alive} were looked at)"


def _fails(row: dict[Any, Any]) -> str:
    return (
        f"the Weibull law does not hold (adjusted chance {number(row['p_law_adjusted'], 2)})"
        f"{_part(row)}, so its interval is to be taken with care."
    )


def _looks_like(row: dict[Any, Any], cell: CellLives) -> dict[str, Any]:
    """Other laws and an early lot tried on lives that the Weibull law does not fit."""
    exit_, failed, entry = _looked_at(cell, row["seed"], MOST_TRIED)
    choice = choose_law(exit_, failed, entry=entry, seed=row["seed"])
    lots = early_failures(exit_, failed, entry=entry, seed=row["seed"])
    said = f"{_fails(row)} {choice.text}"
    out: dict[str, Any] = {"laws_alike": ";".join(choice.alike)}
    if lots.flagged:
        said += f" {lots.text}"
        out |= {"share_early": lots.share, "early_times_life": lots.times_life}
    return out | {"verdict": said}
