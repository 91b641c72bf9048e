"""Lives in service, laws and the plan in force to demand, levels and orders."""

from dutylife.stock.plan import plan_stock
from dutylife.stock.policies import base_stock, newsvendor, order_quantity, service

__all__ = ["base_stock", "newsvendor", "order_quantity", "plan_stock", "service"]
