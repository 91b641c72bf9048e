"""Who is still there, and until when a machine counts as watched."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.lives import prob_in_service
from dutylife.lives.presence import Gaps, stays_of

CAP = "ignition cap"


def ends(found: dict[str, pd.DataFrame]) -> dict[str, tuple[str, str]]:
    last = found["failure_events"].drop_duplicates("unit_id", keep="last")
    return {
        str(r.unit_id): (str(r.event), r.ended_on.date().isoformat()) for r in last.itertuples()
    }


def test_machines_leave_run_on_or_are_lost(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("A", "2018-01-01"), ("A", "2020-11-01"), ("B", "2018-06-01"),
                   ("C", "2020-03-01"), ("D", "2020-10-01")),
        made.events(("A", CAP, "2018-01-01", "replace", "failure")),
        made.units({"unit_id": "A"}, {"unit_id": "B"}, {"unit_id": "C", "left_on": "2020-05-05"},
                   {"unit_id": "D"}),
        made.spans(("A", "2018-01-01", "kerb", "K"), ("B", "2018-01-01", "kerb", "K"),
                   ("C", "2018-01-01", "kerb", "K"), ("D", "2018-01-01", "kerb", "GONE")),
        customers={"GONE": {"left_on": "2020-12-01"}},
    )  # fmt: skip
    assert ends(found) == {
        "A": ("running", "2020-12-31"),
        "B": ("lost", "2018-06-01"),  # not seen for more than a year: ends at its last line
        "C": ("lost", "2020-05-05"),  # known to have left that day
        "D": ("lost", "2020-12-01"),  # its customer left
    }
    prob = found["units"].set_index("unit_id")["prob_in_service"]
    assert prob["C"] == prob["D"] == 0.0
    assert prob["A"] > 0.5 > prob["B"] > 0.0
    told = " ".join(found["findings"]["message"])
    assert "1 machine is believed gone" in told
    assert "last visit: B." in told


def test_a_day_of_leaving_after_the_as_of_date_is_not_yet(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("A", "2020-11-01")),
        made.events(("A", CAP, "2020-11-01", "replace", "failure")),
        made.units({"unit_id": "A", "left_on": "2021-02-01"}),
    )
    assert ends(found) == {"A": ("running", "2020-12-31")}


def test_an_in_service_date_after_the_first_line_is_not_believed(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("A", "2020-02-01"), ("A", "2020-11-01")),
        made.events(("A", CAP, "2020-11-01", "replace", "failure")),
        made.units({"unit_id": "A", "in_service_on": "2020-06-01"}),
    )
    first = found["failure_events"].iloc[0]
    assert first["clock_source"] == "unknown"
    assert "came in before the day it is said" in " ".join(found["findings"]["message"])


def by_quadrature(
    x: float, t: float, watched: float, shape: float, rate: float, mu: float
) -> tuple[float, float]:
    """Probability of being there, and mean days stayed, over visit rate and day of leaving."""
    from scipy.integrate import dblquad, quad
    from scipy.stats import gamma

    law = gamma(shape, scale=1.0 / rate)
    top = 20.0 * (x + shape) / (t + rate)

    def at(lam: float, s: float) -> float:
        """Likelihood of the visits, the machine being there up to day s."""
        return float(law.pdf(lam) * lam**x * np.exp(-(lam + mu) * s))

    there = quad(lambda lam: at(lam, watched), 0, top, epsabs=0, epsrel=1e-10, limit=400)[0]
    gone, stayed = (
        dblquad(lambda s, lam, p=p: mu * (s - t) ** p * at(lam, s), 0, top, t, watched,
                epsabs=0, epsrel=1e-7)[0]
        for p in (0, 1)
    )  # fmt: skip
    days = (there * (watched - t) + stayed) / (there + gone)
    return there / (there + gone), days


def simulated(n: int, seed: int) -> tuple[np.ndarray, ...]:
    """Visits over 1400 days at gamma rates (mean one in 60 days); leaving at 0.0005 a day."""
    rng = np.random.default_rng(seed)
    stays = np.minimum(rng.exponential(2000.0, n), 1e9)
    until = np.minimum(stays, 1400.0)
    visits = [np.sort(rng.uniform(0, u, rng.poisson(r * u)))
              for r, u in zip(rng.gamma(2.0, 1 / 120.0, n), until, strict=True)]  # fmt: skip
    count = np.array([float(len(v)) for v in visits])
    last = np.array([v[-1] if len(v) else 0.0 for v in visits])
    return count, last, np.full(n, 1400.0), stays > 1400.0


@pytest.mark.slow
def test_presence_equals_direct_integration() -> None:
    count, last, watched, _ = simulated(60, 3)
    found, model = prob_in_service(count, last, watched, np.zeros(60, dtype=bool))
    assert model.is_fitted
    _, stay, _ = stays_of(count, last, watched, np.zeros(60, dtype=bool))
    for i in range(0, 60, 19):
        there, days = by_quadrature(
            count[i], last[i], watched[i], model.shape, model.rate_days, model.leaving_per_day
        )
        assert found[i] == pytest.approx(there, abs=1e-4)
        assert stay[i] == pytest.approx(days, rel=1e-3, abs=0.1)


def test_the_days_stayed_after_the_last_visit_are_right_on_average() -> None:
    """Simulated machines, of which only visits are seen."""
    rng = np.random.default_rng(11)
    n = 3000
    leaves = rng.exponential(1500.0, n)
    until = np.minimum(leaves, 1400.0)
    visits = [np.sort(rng.uniform(0, u, rng.poisson(r * u)))
              for r, u in zip(rng.gamma(2.0, 1 / 120.0, n), until, strict=True)]  # fmt: skip
    count = np.array([float(len(v)) for v in visits])
    last = np.array([v[-1] if len(v) else 0.0 for v in visits])
    found, stay, _ = stays_of(count, last, np.full(n, 1400.0), np.zeros(n, dtype=bool))
    for rows in (found < 0.5, found >= 0.5):
        truth = (until - last)[rows]
        assert stay[rows].mean() == pytest.approx(
            truth.mean(), abs=4.0 * truth.std() / np.sqrt(rows.sum())
        )


def test_presence_is_calibrated_and_finds_the_hazard_of_leaving() -> None:
    count, last, watched, there = simulated(600, 5)
    found, model = prob_in_service(count, last, watched, np.zeros(600, dtype=bool))
    assert model.leaving_per_day == pytest.approx(0.0005, rel=0.2)
    for low, high in ((0.0, 0.3), (0.3, 0.7), (0.7, 1.01)):
        rows = (found >= low) & (found < high)
        error = 3.0 * np.sqrt(0.25 / rows.sum())
        assert found[rows].mean() == pytest.approx(there[rows].mean(), abs=error)


def test_machines_known_to_have_left_are_gone() -> None:
    count, last, watched, there = simulated(60, 7)
    left = ~there
    found, _ = prob_in_service(count, last, np.where(left, last + 5.0, watched), left)
    assert (found[left] == 0.0).all()
    assert (found[~left] > 0.0).all()


def test_too_few_machines_fall_back_on_seen_within_a_year() -> None:
    found, model = prob_in_service(
        np.array([4.0, 4.0]), np.array([900.0, 200.0]), np.array([1000.0, 1000.0]),
        np.array([False, False]),
    )  # fmt: skip
    assert not model.is_fitted
    assert found[0] > 0.5 > found[1]


def test_a_roster_ends_the_guess_who_is_still_there(made: SimpleNamespace) -> None:
    lines = [(f"P{i}", f"2020-{m:02d}-05") for i in (1, 2) for m in range(1, 7)]
    units = [{"unit_id": "P1", "prob_in_service": 1.0}, {"unit_id": "P2"}]
    found = made.build(
        made.lines(*lines, ("P3", "2023-12-31")),
        made.events(("P1", "ignition cap", "2020-03-05", "replace", "failure"),
                    ("P2", "ignition cap", "2020-03-05", "replace", "failure")),
        made.units(*units),
    )  # fmt: skip
    prob = found["units"].set_index("unit_id")["prob_in_service"]
    assert prob["P1"] == 1.0
    assert prob["P2"] < 1.0


def test_a_first_day_of_the_list_counts_no_visit_away(made: SimpleNamespace) -> None:
    """Watched from one day on, whichever column of the list says so: the same is believed."""
    rng = np.random.default_rng(3)
    lines = [("OLD", "2018-01-01")]
    for i in range(80):
        days = pd.Timestamp("2018-03-01") + pd.to_timedelta(
            np.unique(rng.integers(20, 1000 if i % 3 else 400, 8)), "D"
        )
        lines += [(f"P{i}", f"{d:%Y-%m-%d}") for d in days]
    names = sorted({n for n, _ in lines} - {"OLD"})
    events = made.events(*((n, CAP, d, "replace", "failure") for n, d in lines[1:]))
    found = [
        made.build(
            made.lines(*lines), events,
            made.units(*({"unit_id": n, column: "2018-03-01"} for n in names)),
        )["units"].set_index("unit_id")["prob_in_service"][names]
        for column in ("first_seen", "in_service_on")
    ]  # fmt: skip
    assert found[0].between(0.05, 0.95).any()
    assert found[0].to_numpy() == pytest.approx(found[1].to_numpy(), abs=1e-6)


def even_visits(n: int, evenness: float, seed: int) -> tuple[np.ndarray, ...]:
    """Visits over 1400 days, gaps of a gamma law; machines leave at 0.0005 a day."""
    rng = np.random.default_rng(seed)
    stays = rng.exponential(2000.0, n)
    rows = []
    for stay, rate in zip(stays, rng.gamma(4.0, 1 / 240.0, n), strict=True):
        gaps = rng.gamma(evenness, 1 / (evenness * rate), 2000)
        days = np.cumsum(gaps)
        days = days[days < min(stay, 1400.0)]
        k = len(days)
        rows.append((k, days[-1] if k else 0.0, k, gaps[:k].sum(), np.log(gaps[:k]).sum()))
    count, last, n_gaps, total, log = np.array(rows).T
    began = np.ones(n, dtype=bool)
    return count, last, stays > 1400.0, Gaps(
        n=n_gaps, days=total, log_days=log, began_with_visit=began
    )  # fmt: skip


@pytest.mark.parametrize("evenness", [0.7, 1.0, 2.5])
def test_the_evenness_of_visits_is_found_and_says_who_is_there(evenness: float) -> None:
    count, last, there, gaps = even_visits(500, evenness, 9)
    nobody = np.zeros(500, dtype=bool)
    found, _, model = stays_of(count, last, np.full(500, 1400.0), nobody, gaps)
    assert model.evenness == pytest.approx(evenness, rel=0.1)
    assert model.leaving_per_day == pytest.approx(0.0005, rel=0.2)
    for low, high in ((0.0, 0.3), (0.3, 0.8), (0.8, 1.01)):
        rows = (found >= low) & (found < high)
        error = 3.0 * np.sqrt(max((found[rows] * (1 - found[rows])).sum(), 1.0)) / rows.sum()
        assert found[rows].mean() == pytest.approx(there[rows].mean(), abs=error)


@pytest.mark.slow
def test_even_visits_tell_those_gone_from_those_there_better() -> None:
    count, last, there, gaps = even_visits(800, 3.0, 12)
    ends, nobody = np.full(800, 1400.0), np.zeros(800, dtype=bool)

    def loss(probability: np.ndarray) -> float:
        told = np.clip(probability, 1e-6, 1 - 1e-6)
        return float(-np.where(there, np.log(told), np.log(1 - told)).mean())

    with_gaps, by_chance = (stays_of(count, last, ends, nobody, g)[0] for g in (gaps, None))
    assert loss(with_gaps) < 0.9 * loss(by_chance)


def test_an_even_gap_is_integrated_as_direct_quadrature_does() -> None:
    from scipy.integrate import quad
    from scipy.special import gammaincc
    from scipy.stats import gamma

    count, last, _, gaps = even_visits(60, 2.5, 3)
    nobody = np.zeros(60, dtype=bool)
    found, stay, model = stays_of(count, last, np.full(60, 1400.0), nobody, gaps)
    k, mu = model.evenness, model.leaving_per_day
    law = gamma(model.shape, scale=1.0 / model.rate_days)
    for i in range(0, 60, 13):
        gap = 1400.0 - last[i]
        peak = (k * count[i] + model.shape) / (k * last[i] + model.rate_days)

        def of(lam: float, i: int = i, peak: float = peak) -> float:
            return law.pdf(lam) * (lam / peak) ** (k * count[i]) * np.exp(
                -k * (lam - peak) * last[i]
            )  # fmt: skip

        def summed(of_rate, of=of, peak=peak) -> float:
            return quad(lambda lam: of(lam) * of_rate(lam), 1e-9, 12 * peak, epsrel=1e-9,
                        points=[peak / 3, peak, 3 * peak], limit=500)[0]  # fmt: skip

        def left(lam: float, power: int, gap: float = gap) -> float:
            return quad(lambda s: s**power * mu * np.exp(-mu * s) * gammaincc(k, k * lam * s), 0,
                        gap, points=[min(1 / lam, gap / 2)], epsrel=1e-8, limit=200)[0]  # fmt: skip

        there = summed(lambda lam, gap=gap: np.exp(-mu * gap) * gammaincc(k, k * lam * gap))
        gone, stayed = (summed(lambda lam, p=p, left=left: left(lam, p)) for p in (0, 1))
        assert found[i] == pytest.approx(there / (there + gone), abs=2e-4)
        told = (there * gap + stayed) / (there + gone)
        assert stay[i] == pytest.approx(told, rel=2e-3, abs=0.2)
