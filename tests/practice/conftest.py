"""Small practice fleets with one difficulty at full strength, made once each."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from dutylife.practice import law_survival, make_practice, simulate_fleet, without_difficulties
from dutylife.practice.laws import customer_risks

SMALL = {"n_units": 40, "n_years": 3, "seed": 21}


@pytest.fixture(scope="session")
def fleet_with():
    """The small fleet with one difficulty alone; blank for none."""

    @cache
    def make(name="", strength=1.0):
        strengths = without_difficulties() | ({name: strength} if name else {})
        return simulate_fleet(**SMALL, difficulties=strengths)

    return make


@pytest.fixture(scope="session")
def uniforms_of():
    """Function of a fleet: its lives turned by its own laws, uniform if they follow them."""
    return _uniforms


def _uniforms(fleet):
    """Randomised probability transform of the lives by the fleet's own laws, risks and entries.

    Uniform on (0, 1) if and only if the lives follow the laws, whatever cut them short.
    """
    lives = fleet.lives.copy()
    for column in ("entry_hours", "entry_days"):
        if column not in lives:
            lives[column] = 0.0
    if "is_faulty" in lives:
        lives = lives[~lives["is_faulty"]]
    risks = customer_risks(fleet.scenario, fleet.seed)
    risk = {m.unit_id: m.risk * risks[m.customer] for m in fleet.machines}
    laws = {(law["component"], law["duty"]): law for law in fleet.laws.to_dict("records")}
    failed, told = [], []
    for key, rows in lives.groupby(["component", "duty"]):
        # the law of a part on one machine at one customer: its risk is put in below
        law = laws[key] | {"machine_variance": 0.0, "customer_variance": 0.0}
        clock = law["clock"]
        alive = law_survival(law, rows[f"age_{clock}"])
        alive = alive / law_survival(law, rows[f"entry_{clock}"])
        told.append(1.0 - alive ** rows["unit_id"].map(risk).to_numpy())
        failed.append((rows["event"] == "failed").to_numpy())
    below, failed = np.concatenate(told), np.concatenate(failed)
    above = below + (1 - below) * np.random.default_rng(1).random(len(below))
    return np.where(failed, below, above)


@pytest.fixture(scope="session")
def export_with(tmp_path_factory):
    """Paths of the small fleet's export with one difficulty alone."""

    @cache
    def make(name="", strength=1.0, shape="lines"):
        strengths = without_difficulties() | ({name: strength} if name else {})
        folder = tmp_path_factory.mktemp("export")
        return make_practice(folder, **SMALL, difficulties=strengths, shape=shape)

    return make


@pytest.fixture(scope="session")
def lines_with(export_with):
    """Lines of such an export, all text."""

    @cache
    def read(name="", strength=1.0):
        path = export_with(name, strength)["lines"]
        return pd.read_csv(path, dtype=str, keep_default_na=False)

    return read
