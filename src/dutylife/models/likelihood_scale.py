"""The log-likelihood of a fitted law on the scale of ages or of log ages; sources use both."""

import math
from typing import Literal

import numpy as np

from dutylife.errors import FitError
from dutylife.models.curved import CurvedLaw
from dutylife.models.laws import LifeLaw
from dutylife.models.regression import LifeRegression

Scale = Literal["age", "log age"]


def loglik_on(law: LifeLaw | CurvedLaw | LifeRegression, scale: Scale = "log age") -> float:
    """Log-likelihood of a law on the scale that a source prints it on.

    Parameters
    ----------
    law : LifeLaw, CurvedLaw or LifeRegression
        Its own ``loglik`` is that of ages.
    scale : {"age", "log age"}
        The density of log age is that of age times the age, so each failure at a known age adds
        its log age; lives cut off, entered late or known between two ages are alike on both.
        Differences between laws of the same lives are the same on both scales.

    Returns
    -------
    float
        Missing for a law without a likelihood (rank regression).

    Raises
    ------
    FitError
        A scale that is not known.

    Examples
    --------
    >>> from dutylife.models import fit_law
    >>> law = fit_law("exponential", [2.0, 4.0], [1, 1])
    >>> round(loglik_on(law) - law.loglik, 6) == round(float(np.log(8.0)), 6)
    True
    """
    if scale not in ("age", "log age"):
        raise FitError(
            f"A scale of '{scale}' is not known.", "loglik_on(law, scale)", "'age' or 'log age'"
        )
    if scale == "age" or math.isnan(law.loglik):
        return law.loglik
    if isinstance(law, LifeRegression):
        return law.loglik + law.failed_log_ages
    rows = getattr(law, "rows", None)
    if rows is not None:
        exact = rows.failed & ~rows.between
        return law.loglik + float(rows.weight[exact] @ rows.log_exit[exact])
    age, failed, _, weight = np.array(law.lives, dtype=float).T
    known = failed > 0
    return law.loglik + float(weight[known] @ np.log(age[known]))
