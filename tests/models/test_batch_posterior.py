"""Posteriors of many cells against a brute sum over a fine grid, cell by cell."""

import numpy as np
import pandas as pd
import pytest
from made_cells import made_cells, rows_of

from dutylife.errors import FitError
from dutylife.models import fit_cells
from dutylife.models.batch.posterior import cell_posteriors

MEAN, COV = np.array([0.4, 6.0]), np.array([[0.16, 0.06], [0.06, 1.0]])


def brute(own: dict[str, np.ndarray], n: int = 1001) -> dict[str, object]:
    """Every row at every point of a grid that covers the chances, then a finer one."""
    q = np.linspace(MEAN[0] - 3.2, MEAN[0] + 3.2, n)
    s = np.linspace(MEAN[1] - 8.0, MEAN[1] + 8.0, n)
    inverse = np.linalg.inv(COV)
    for _ in range(2):
        off_q, off_s = q[:, None] - MEAN[0], s[None, :] - MEAN[1]
        value = -0.5 * (
            inverse[0, 0] * off_q**2 + 2 * inverse[0, 1] * off_q * off_s + inverse[1, 1] * off_s**2
        )
        with np.errstate(over="ignore", under="ignore"):
            for exit_, failed, entry in zip(own["exit"], own["event"], own["entry"], strict=True):
                z = np.exp(q)[:, None] * (np.log(exit_) - s[None, :])
                value += failed * (q[:, None] + z) - np.exp(z)
                if entry > 0:
                    value += np.exp(np.exp(q)[:, None] * (np.log(entry) - s[None, :]))
            chance = np.exp(value - value.max())
        chance /= chance.sum()
        by_q, by_s = chance.sum(axis=1), chance.sum(axis=0)
        held_q, held_s = q[by_q > 1e-13 * by_q.max()], s[by_s > 1e-13 * by_s.max()]
        out = {"q": q, "s": s, "chance": chance, "by_q": by_q, "by_s": by_s}
        q = np.linspace(held_q[0], held_q[-1], n)
        s = np.linspace(held_s[0], held_s[-1], n)
    return out


@pytest.mark.slow
def test_twenty_cells_are_those_of_a_brute_grid() -> None:
    """Means within 1e-4 of a posterior deviation, whatever the failures, none included."""
    lives = made_cells(20, seed=12, late=True, fewest=3, most=60)
    lives["event"] = lives["event"] & (lives["cell"] > 2)  # three cells without a failure
    fits = fit_cells(**lives)
    assert (fits.n_failed == 0).sum() >= 3
    ours = cell_posteriors(fits, MEAN, COV)
    np.testing.assert_allclose(ours.weight.sum(axis=(1, 2)), 1.0)
    survival = ours.survival(300.0)
    worst = 0.0
    for c in range(20):
        grid = brute(rows_of(lives, c))
        y = np.log(-np.log(0.9))
        b10 = grid["s"][None, :] + y / np.exp(grid["q"])[:, None]
        at = {
            "shape": np.broadcast_to(grid["q"][:, None], b10.shape),
            "scale": np.broadcast_to(grid["s"][None, :], b10.shape), "b10": b10,
        }  # fmt: skip
        for what, nodes in at.items():
            mean = (grid["chance"] * nodes).sum()
            sd = np.sqrt((grid["chance"] * (nodes - mean) ** 2).sum())
            off = abs(ours.mean(what)[c] - mean) / sd
            worst = max(worst, off)
            assert off < 1e-4, (c, what, off, fits.n_failed[c])
            assert ours.sd(what)[c] == pytest.approx(sd, rel=3e-4)
        for what, by, points in (
            ("shape", grid["by_q"], grid["q"]), ("scale", grid["by_s"], grid["s"]),
        ):  # fmt: skip
            for share in (0.05, 0.5, 0.95):
                true = np.interp(share, np.cumsum(by) - by / 2, points)
                assert abs(np.log(ours.quantile(what, share)[c]) - true) < 0.05 * ours.sd(what)[c]
        z = np.exp(grid["q"])[:, None] * (np.log(300.0) - grid["s"][None, :])
        with np.errstate(over="ignore", under="ignore"):
            plain = (grid["chance"] * np.exp(-np.exp(z))).sum()
        assert survival[c] == pytest.approx(plain, abs=1e-4)
    print(f"worst mean {worst:.1e} of a deviation")


def test_one_cell_without_a_failure_and_one_with_are_those_of_the_grid() -> None:
    lives = made_cells(2, seed=3, late=True, fewest=5, most=9)
    lives["event"] = lives["event"] & (lives["cell"] > 0)
    ours = cell_posteriors(fit_cells(**lives), MEAN, COV)
    for c in range(2):
        grid = brute(rows_of(lives, c), 601)
        for what, by, points in (
            ("shape", grid["by_q"], grid["q"]), ("scale", grid["by_s"], grid["s"]),
        ):  # fmt: skip
            mean = by @ points
            sd = np.sqrt(by @ (points - mean) ** 2)
            assert abs(ours.mean(what)[c] - mean) < 1e-4 * sd
    assert (ours.table["shape_lower"] < ours.table["shape_upper"]).all()
    assert ours.text == "2 cells told from their lives and the prior, 1 of them without a failure."


def test_a_flood_of_lives_drowns_the_prior_and_a_bad_cell_has_none() -> None:
    lives = made_cells(3, seed=6, fewest=3000, most=3500)
    fits = fit_cells(**lives)
    ours = cell_posteriors(fits, MEAN, COV)
    assert (np.abs(ours.mean("shape") - fits.log_shape) < 0.25 * ours.sd("shape")).all()
    np.testing.assert_allclose(ours.sd("scale"), 1 / np.sqrt(
        fits.information[2] - fits.information[1] ** 2 / fits.information[0]
    ), rtol=0.03)  # fmt: skip
    bad = fit_cells([1, 1, 2], [3.0, -1.0, 5.0], [1, 1, 0])
    table = cell_posteriors(bad, MEAN, COV).table
    assert table.loc[1, ["shape", "scale", "b10"]].isna().all()
    assert table.loc[2, ["shape", "scale", "b10"]].notna().all()
    assert isinstance(table, pd.DataFrame)


def test_priors_that_cant_stand_are_refused() -> None:
    fits = fit_cells([1, 1], [1.0, 2.0], [1, 1])
    with pytest.raises(FitError, match="positive definite"):
        cell_posteriors(fits, MEAN, [[1.0, 2.0], [2.0, 1.0]])
    with pytest.raises(FitError, match="mean has shape"):
        cell_posteriors(fits, [1.0], COV)
    with pytest.raises(FitError, match="No posterior of 'b0'"):
        cell_posteriors(fits, MEAN, COV).mean("b0")
