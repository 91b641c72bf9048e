"""What is held possible before any life is seen: one weak prior for all components, stated.

Of a component: log shape in a duty is normal around a mean of its own, log scale likewise. The
mean shape has median 1.5, 95 % of it within 0.7 to 3.2; how far duties differ takes one of the
values below, with these chances; so does how far the customers of a duty differ. Our proposal:
no published figures for these parts were found. The severity classes of the trade put life in
hard duty at 0.2 to 1 of that in normal duty (common practice, no source), which the middle values
of `SCALE_BETWEEN` say.
"""

import math

import numpy as np

LOG_SHAPE_MEAN = math.log(1.5)
LOG_SHAPE_SD = math.log(3.2 / 0.7) / (2.0 * 1.959964)
# standard deviation of log shape between duties, and of log scale
SHAPE_BETWEEN = np.array([0.05, 0.10, 0.17, 0.27, 0.42])
SHAPE_BETWEEN_CHANCE = np.array([0.30, 0.30, 0.20, 0.13, 0.07])
SCALE_BETWEEN = np.array([0.10, 0.20, 0.35, 0.55, 0.85, 1.30])
SCALE_BETWEEN_CHANCE = np.array([0.10, 0.18, 0.26, 0.24, 0.15, 0.07])
# variance of the factor (mean 1) by which a customer's parts fail more or less often than others
CUSTOMER_VARIANCE = np.array([0.0, 0.10, 0.25, 0.60])
CUSTOMER_VARIANCE_CHANCE = np.array([0.40, 0.25, 0.22, 0.13])
# the starting interval tells the mean scale of a component within a factor of 12 either way (90 %)
LOG_SCALE_SD = 1.5
