"""Life laws: curves, fitted laws with bounds, and a law for each component in each duty."""

from dutylife.models.curves import SurvivalCurve, kaplan_meier
from dutylife.models.fit import fit_models
from dutylife.models.laws import LifeLaw, fit_law

__all__ = ["LifeLaw", "SurvivalCurve", "fit_law", "fit_models", "kaplan_meier"]
