"""Laws of one component in several duties, each standing on its own lives and on the others'."""

from dutylife.models.pooling.component import pool_cells
from dutylife.models.pooling.hierarchy import Pooled
from dutylife.models.pooling.posterior import CellPosterior, alone

__all__ = ["CellPosterior", "Pooled", "alone", "pool_cells"]
