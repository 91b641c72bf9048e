"""The cell fits against survreg of R's package survival, which knows no late entries."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_cells import made_cells

from dutylife.models import fit_cells

CODE = """
suppressMessages(library(survival)); a <- read.csv("lives.csv")
tight <- survreg.control(rel.tolerance = 1e-14, maxiter = 200)
fit <- function(x) { m <- survreg(Surv(low, high, type = "interval2") ~ 1, x, dist = "weibull",
  control = tight); c(x$cell[1], -log(m$scale), unname(coef(m))) }
options(digits = 16)
write.csv(do.call(rbind, lapply(split(a, a$cell), fit)), "laws.csv", row.names = FALSE)
"""


@pytest.mark.slow
def test_a_thousand_cells_are_those_of_r(tmp_path: Path) -> None:
    """Right-censored lives, and failures between two ages or before one, to 1e-9."""
    r = shutil.which("Rscript")
    there = 'quit(status = !requireNamespace("survival", quietly = TRUE))'
    if r is None or subprocess.run([r, "-e", there], capture_output=True).returncode:
        pytest.skip("R with its package survival is not on this machine")
    lives = made_cells(1100, seed=21, between=True, fewest=8, most=120)
    fits = fit_cells(**lives)
    able = np.flatnonzero(fits.fitted & (fits.n_failed >= 4))[:1000]
    assert len(able) >= 900
    found = np.isfinite(lives["upper"])
    low = np.where(found, np.where(lives["lower"] > 0, lives["lower"], np.nan), lives["exit"])
    high = np.where(found, lives["upper"], np.where(lives["event"], lives["exit"], np.nan))
    frame = pd.DataFrame({"cell": lives["cell"], "low": low, "high": high})
    assert (frame["low"].isna() & found).any()  # rows known only to have failed before an age
    own = frame[frame["cell"].isin(able)]
    own.to_csv(tmp_path / "lives.csv", index=False, float_format="%.17g", na_rep="NA")
    subprocess.run([r, "-e", CODE], cwd=tmp_path, check=True, capture_output=True)
    laws = pd.read_csv(tmp_path / "laws.csv").to_numpy()
    assert laws[:, 0].tolist() == able.tolist()
    off = np.abs(fits.log_shape[able] - laws[:, 1]), np.abs(fits.log_scale[able] - laws[:, 2])
    print(f"worst of {len(able)} cells: log shape {off[0].max():.1e}, log scale {off[1].max():.1e}")
    assert max(off[0].max(), off[1].max()) < 1e-9
