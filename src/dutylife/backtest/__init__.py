"""Rolls the as-of date back month by month: forecasts and stock levels against what came."""

from dutylife.backtest.run import Backtest, backtest

__all__ = ["Backtest", "backtest"]
