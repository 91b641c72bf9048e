"""A proof small enough for a test: two sizes, two fleets each."""

import pytest

from dutylife.prove import jobs, prove, run

TINY = jobs.Size(
    cells=((10, 1.0), (30, 2.0)),
    n_fleets=2,
    difficulty_cell=(10, 1.0),
    n_difficulty_fleets=1,
    n_calibration_fleets=1,
)


@pytest.fixture(scope="session")
def tiny():
    """The smoke size, smaller still, for every proof of this session."""
    patch = pytest.MonkeyPatch()
    patch.setitem(jobs.SIZES, "smoke", TINY)
    # two of them stand for all: each takes a fleet
    few = {name: jobs.DIFFICULTIES[name] for name in ("typed_text", "lognormal_lives")}
    patch.setattr(jobs, "DIFFICULTIES", few)
    patch.setitem(run.INSTRUMENT_UNITS, "smoke", 60)
    yield TINY
    patch.undo()


@pytest.fixture(scope="session")
def proof(tiny, tmp_path_factory):
    """One proof on two processes."""
    return prove(tmp_path_factory.mktemp("proof") / "out", seed=3, workers=2)
