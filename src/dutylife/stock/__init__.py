"""Lives in service, laws and the plan in force to demand, levels and orders."""

from dutylife.stock.bench import BenchLoad, bench_load
from dutylife.stock.budget import BudgetAllocation, allocate_budget
from dutylife.stock.demand_class import DemandClass
from dutylife.stock.demand_law import demand_law, lead_time_demand
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.stock.gamma_poisson import GammaPoisson, gamma_poisson, gamma_prior
from dutylife.stock.intermittent import IntermittentForecast, intermittent_forecast
from dutylife.stock.newsvendor import Newsvendor, newsvendor
from dutylife.stock.order_lot import OrderQuantity, order_quantity
from dutylife.stock.order_up_to import OrderUpToPolicy, order_up_to_policy
from dutylife.stock.parts import pieces_each
from dutylife.stock.plan import plan_stock
from dutylife.stock.policies import BaseStock, base_stock, service
from dutylife.stock.reorder import ReorderPolicy, reorder_policy

__all__ = [
    "BaseStock",
    "BenchLoad",
    "BudgetAllocation",
    "DemandClass",
    "DemandLaw",
    "GammaPoisson",
    "IntermittentForecast",
    "Newsvendor",
    "OrderQuantity",
    "OrderUpToPolicy",
    "ReorderPolicy",
    "allocate_budget",
    "base_stock",
    "bench_load",
    "demand_law",
    "gamma_poisson",
    "gamma_prior",
    "intermittent_forecast",
    "lead_time_demand",
    "newsvendor",
    "order_quantity",
    "order_up_to_policy",
    "pieces_each",
    "plan_stock",
    "reorder_policy",
    "service",
]
