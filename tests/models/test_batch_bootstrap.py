"""The bootstrap of many cells: against a plain loop, and by how often bounds cover the truth."""

import numpy as np
import pytest
from made_cells import made_cells

from dutylife.errors import FitError
from dutylife.models import fit_cells
from dutylife.models.batch.bootstrap import bootstrap
from dutylife.models.batch.draws import Draws, Store
from dutylife.models.batch.planned_ends import planned_ends


def test_a_plain_loop_of_draws_and_fits_has_the_same_spread() -> None:
    """Lives drawn by age with numpy's own generator, each set fitted as a cell of `fit_cells`."""
    lives = made_cells(6, seed=11, late=True, fewest=12, most=90)
    fits = fit_cells(**lives)
    n = 2000
    stop = 3.0 * np.bincount(lives["cell"], lives["exit"]) / np.bincount(lives["cell"])
    stop = np.maximum(stop, [lives["exit"][lives["cell"] == c].max() for c in range(6)])
    ours = bootstrap(fits, n, 3, stop=stop)
    rng = np.random.default_rng(1)
    for c in range(6):
        own = lives["cell"] == c
        entry, exit_, event = (lives[k][own] for k in ("entry", "exit", "event"))
        until = np.where(event, stop[c], exit_)
        k, s = fits.shape[c], fits.scale[c]
        age = s * ((entry / s) ** k + rng.exponential(size=(n, own.sum()))) ** (1.0 / k)
        drawn = fit_cells(
            np.repeat(np.arange(n), own.sum()), np.minimum(age, until).ravel(),
            (age < until).ravel(), entry=np.tile(entry, n),
        )  # fmt: skip
        for mine, plain in (
            (ours.log_shape[c], drawn.log_shape),
            (ours.log_scale[c], drawn.log_scale),
        ):
            mine, plain = mine[np.isfinite(mine)], plain[np.isfinite(plain)]
            assert len(mine) > 0.97 * n
            for share in (0.05, 0.5, 0.95):
                a, b = np.quantile(mine, share), np.quantile(plain, share)
                # the error of a difference of two such quantiles, about 4.5 of them
                spread = np.std(plain)
                assert abs(a - b) < 4.5 * spread * 2.1 * np.sqrt(2.0 / n), (c, share)


def test_each_replicate_is_the_fit_of_its_own_lives(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lives drawn are caught on the way and fitted as cells, to the tolerance stated."""
    from dutylife.models.batch import bootstrap as module

    caught = []
    real = module.sums_of

    def kept(drawn, out) -> None:
        real(drawn, out)
        # the memory is used again by the next batch
        caught.append((drawn.since, [(h.copy(), f.copy()) for h, f in drawn.pieces]))

    monkeypatch.setattr(module, "sums_of", kept)
    fits = fit_cells(**made_cells(8, seed=4, late=True, fewest=6, most=80))
    ours = bootstrap(fits, 60, 5)
    fewest = [fewest for fewest, _ in module._ORDERS]
    rank = np.searchsorted(fewest, fits.n_failed, "right")
    order = sorted(np.flatnonzero(fits.fitted), key=lambda c: rank[c])
    assert len(caught) == len(order)
    checked = 0
    for c, (since, pieces) in zip(order, caught, strict=True):
        hazard = np.exp(np.hstack([h for h, _ in pieces]).astype(float))
        failed = np.hstack([f for _, f in pieces])
        m = len(hazard)
        again = fit_cells(
            np.repeat(np.arange(60), m), hazard.T.ravel(), failed.T.ravel(),
            entry=np.tile(since, 60),
        )  # fmt: skip
        sure = again.fitted & ~again.second_top
        mine = ours.log_shape[c] - fits.log_shape[c]
        assert np.isfinite(mine[sure]).all()
        np.testing.assert_allclose(mine[sure], again.log_shape[sure], atol=3e-5)
        scale = (ours.log_scale[c] - fits.log_scale[c]) * fits.shape[c]
        np.testing.assert_allclose(scale[sure], again.log_scale[sure], atol=3e-5)
        assert np.isnan(mine[again.verdict == "no estimate"]).all()
        checked += sure.sum()
    assert checked > 300


def test_replicates_without_a_law_are_counted_and_seeds_kept() -> None:
    exit_ = np.array([3.0, 5.0, 8.0, 9.0, 9.0, 2.0, 9.0, 9.0])
    event = np.array([1, 1, 0, 0, 0, 1, 0, 0])
    fits = fit_cells(["a"] * 5 + ["b"] * 3, exit_, event)
    first, again = bootstrap(fits, 400, 8, stop=9.0), bootstrap(fits, 400, 8, stop=9.0)
    np.testing.assert_array_equal(first.log_shape, again.log_shape)
    h = (9.0 / fits.scale) ** fits.shape
    nobody = np.exp(-np.array([4 * h[0] + (8.0 / fits.scale[0]) ** fits.shape[0], 3 * h[1]]))
    np.testing.assert_allclose(first.n_unfailed / 400, nobody, atol=4.5 * np.sqrt(0.25 / 400))
    assert (first.n_without >= first.n_unfailed).all()
    assert first.n_without[1] > 0
    assert f"{first.n_without.sum()} replicates" in first.text
    bounds = first.bounds("b10", 0.90)
    assert (bounds["lower"] < bounds["upper"]).all()
    assert first.table.loc["a", "shape_lower"] < first.table.loc["a", "shape_upper"]
    alone = bootstrap(fit_cells(["a"] * 5, exit_[:5], event[:5]), 400, 8, stop=9.0)
    np.testing.assert_allclose(alone.log_shape[0], first.log_shape[0], equal_nan=True)


def test_planned_ends_are_beyond_each_failure_and_follow_the_record() -> None:
    """All left at 10 or 20, half each: a failure at 12 would have been watched to 20."""
    exit_ = np.r_[np.full(50, 10.0), np.full(50, 20.0), np.full(400, 4.0), np.full(30, 12.0)]
    event = np.r_[np.zeros(100), np.ones(430)]
    fits = fit_cells(np.ones(530), exit_, event)
    end = planned_ends(fits, 1, None)
    assert (end[:100] == exit_[:100]).all()
    assert (end[500:] == 20.0).all()
    # at 10 there were 130 left, 50 of them went: 5/13 of those that failed before
    assert (end[100:500] == 10.0).mean() == pytest.approx(50 / 130, abs=0.1)
    with pytest.raises(FitError, match="failed after the planned end"):
        bootstrap(fits, 10, 1, stop=11.0)
    whole = fit_cells(np.ones(3), [1.0, 2.0, 4.0], [1, 1, 1])
    assert np.isinf(planned_ends(whole, 1, None)).all()


def test_what_it_cant_draw_is_refused() -> None:
    with pytest.raises(FitError, match="weights"):
        bootstrap(fit_cells([1] * 2, [1.0, 2.0], [1, 1], weights=[1, 2]), 10, 1)
    fits = fit_cells([1] * 2, [1.0, 2.0], [1, 1])
    with pytest.raises(FitError, match="0 replicates"):
        bootstrap(fits, 0, 1)
    with pytest.raises(FitError, match="b200"):
        bootstrap(fits, 10, 1).bounds("b200")


@pytest.mark.slow
def test_bounds_cover_the_truth_about_as_often_as_they_say(capsys: pytest.CaptureFixture) -> None:
    """2,000 cells of 30 lives watched to one scale life: 63 % fail; true shape 2."""
    rng = np.random.default_rng(2)
    n_cells, n = 2000, 30
    age = rng.weibull(2.0, n_cells * n)
    fits = fit_cells(np.repeat(np.arange(n_cells), n), np.minimum(age, 1.0), age < 1.0)
    drawn = bootstrap(fits, 1000, 3, stop=1.0)
    told = {}
    for what, truth in (("shape", 2.0), ("scale", 1.0), ("b10", np.sqrt(-np.log(0.9)))):
        for corrected in (False, True):
            b = drawn.bounds(what, 0.90, bias_corrected=corrected)
            told[what, corrected] = ((b["lower"] < truth) & (truth < b["upper"])).mean()
    with capsys.disabled():
        print({f"{k[0]}{' corrected' if k[1] else ''}": round(v, 3) for k, v in told.items()})
    for (what, corrected), share in told.items():
        # the percentile bounds of a shape keep the bias of its estimate
        assert share > (0.86 if corrected or what != "shape" else 0.80), (what, corrected, share)
        assert share < 0.94


def test_drawn_hazards_are_exponential() -> None:
    """Against the law itself, and one draw tells nothing of the next."""
    from scipy.stats import kstest

    drawn = Draws(3, 1, 400, np.zeros(2000), np.full(2000, np.inf), Store().emptied(800_000))
    hazard = np.concatenate([h.ravel().astype(float) for _, h, _, _ in drawn.drawn()])
    assert len(hazard) == 800_000
    assert kstest(hazard, "expon").pvalue > 1e-3
    assert 0 < hazard.min() < 1e-5
    assert 12.0 < hazard.max() < 16.7
    assert abs(np.corrcoef(hazard[:-1], hazard[1:])[0, 1]) < 4.5 / np.sqrt(800_000)
