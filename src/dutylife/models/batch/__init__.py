"""Weibull laws of thousands of cells at once: fits, likelihood-ratio limits, bootstrap."""

from dutylife.models.batch.fit import CellFits, fit_cells

__all__ = ["CellFits", "fit_cells"]
