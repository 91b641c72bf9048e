"""Life laws: curves, fitted laws with bounds, and a law for each component in each duty."""

from dutylife.models.alike import alike_duties
from dutylife.models.batch import CellFits, fit_cells
from dutylife.models.batches import BatchComparison, compare_batches
from dutylife.models.causes import CauseCurves, aalen_johansen
from dutylife.models.choice import LawChoice, choose_law
from dutylife.models.comebacks import comebacks_of
from dutylife.models.curved import CurvedLaw
from dutylife.models.curves import SurvivalCurve, kaplan_meier
from dutylife.models.early import EarlyFailures, early_failures
from dutylife.models.fit import fit_models
from dutylife.models.fitting import fit_law
from dutylife.models.hazard import CumulativeHazard, nelson_aalen
from dutylife.models.law_checks import check_laws
from dutylife.models.laws import LifeLaw
from dutylife.models.likelihood_scale import loglik_on
from dutylife.models.mean_cumulative import MeanCumulative, mean_cumulative
from dutylife.models.order_test import OrderTest, order_test
from dutylife.models.part_makers import compare_part_makers
from dutylife.models.paths import (
    PartReadings,
    PathModel,
    crossing_ages,
    path_model,
    readings_by_part,
)
from dutylife.models.power_law import PowerLaw, power_law
from dutylife.models.ranks import RankFit, median_ranks, rank_regression
from dutylife.models.recurrence import recurrence_of
from dutylife.models.regression import LifeRegression
from dutylife.models.shape_bias import ShapeFactor, shape_factor, simulated_shape_factor
from dutylife.models.trend import TrendTests, trend_tests
from dutylife.models.turnbull import IntervalCurve, turnbull

__all__ = [
    "BatchComparison",
    "CauseCurves",
    "CellFits",
    "CumulativeHazard",
    "CurvedLaw",
    "EarlyFailures",
    "IntervalCurve",
    "LawChoice",
    "LifeLaw",
    "LifeRegression",
    "MeanCumulative",
    "OrderTest",
    "PartReadings",
    "PathModel",
    "PowerLaw",
    "RankFit",
    "ShapeFactor",
    "SurvivalCurve",
    "TrendTests",
    "aalen_johansen",
    "check_laws",
    "comebacks_of",
    "fit_cells",
    "choose_law",
    "compare_batches",
    "compare_part_makers",
    "early_failures",
    "fit_law",
    "alike_duties",
    "crossing_ages",
    "fit_law",
    "fit_models",
    "kaplan_meier",
    "loglik_on",
    "mean_cumulative",
    "median_ranks",
    "nelson_aalen",
    "order_test",
    "path_model",
    "power_law",
    "rank_regression",
    "readings_by_part",
    "recurrence_of",
    "shape_factor",
    "simulated_shape_factor",
    "trend_tests",
    "turnbull",
]
