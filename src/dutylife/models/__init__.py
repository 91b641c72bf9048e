"""Life laws: curves, fitted laws with bounds, and a law for each component in each duty."""

from dutylife.models.alike import alike_duties
from dutylife.models.batches import BatchComparison, compare_batches
from dutylife.models.causes import CauseCurves, aalen_johansen
from dutylife.models.choice import LawChoice, choose_law
from dutylife.models.curved import CurvedLaw
from dutylife.models.curves import SurvivalCurve, kaplan_meier
from dutylife.models.early import EarlyFailures, early_failures
from dutylife.models.fit import fit_models
from dutylife.models.fitting import fit_law
from dutylife.models.hazard import CumulativeHazard, nelson_aalen
from dutylife.models.laws import LifeLaw
from dutylife.models.mean_cumulative import MeanCumulative, mean_cumulative
from dutylife.models.power_law import PowerLaw, power_law
from dutylife.models.ranks import RankFit, median_ranks, rank_regression
from dutylife.models.regression import LifeRegression
from dutylife.models.trend import TrendTests, trend_tests
from dutylife.models.turnbull import IntervalCurve, turnbull

__all__ = [
    "BatchComparison",
    "CauseCurves",
    "CumulativeHazard",
    "CurvedLaw",
    "EarlyFailures",
    "IntervalCurve",
    "LawChoice",
    "LifeLaw",
    "LifeRegression",
    "MeanCumulative",
    "PowerLaw",
    "RankFit",
    "SurvivalCurve",
    "TrendTests",
    "aalen_johansen",
    "choose_law",
    "compare_batches",
    "early_failures",
    "fit_law",
    "alike_duties",
    "fit_models",
    "kaplan_meier",
    "mean_cumulative",
    "median_ranks",
    "nelson_aalen",
    "power_law",
    "rank_regression",
    "trend_tests",
    "turnbull",
]
