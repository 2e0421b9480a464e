"""Where the regression of the outside's rise starts from; printed by `tests/bench/fit_day_scale.py`.

Tuned on measured and typical-year weather, no other authority. Columns follow `rise.NAMES`, rows its classes.
"""

from __future__ import annotations

import numpy as np

# fmt: off
COEFFICIENT = np.array([
    [5.32, 0.99, -0.58, 1.59, 0.08, 0.20, -0.30, -3.29, 0.17, 0.18, -0.17],
    [5.00, 1.79, -0.74, 0.46, 1.10, 1.22, 0.02, -3.10, -0.23, 0.29, -0.07],
    [3.63, 1.35, -0.13, 0.44, 1.50, 0.61, 1.03, -1.09, 0.72, 0.25, -0.05],
    [4.12, 0.68, 0.37, 2.55, 0.84, 0.46, 0.31, -0.37, 0.38, 0.09, -0.08],
])
"""Prior mean, shape (classes, features)."""
SPREAD = np.array([1.20, 0.95, 0.95, 0.95, 1.03, 1.36, 1.42, 1.88, 1.09, 1.78, 1.43])
"""Prior standard deviation, four times that between sites, shape (features,)."""
NOISE_C = np.array([2.74, 2.51, 1.76, 1.37])
"""Error left [°C], shape (classes,)."""
TYPICAL = np.zeros(11)
"""What an unknown feature is taken for."""
# fmt: on
