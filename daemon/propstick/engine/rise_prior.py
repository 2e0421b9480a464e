"""Where the regression of the outside's rise starts from; printed by `tests/bench/fit_day_scale.py`.

Tuned on measured and typical-year weather, no other authority. Columns follow `rise.NAMES`, rows its classes.
"""

from __future__ import annotations

import numpy as np

# fmt: off
COEFFICIENT = np.array([
    [5.64, -0.17, 1.44, 2.00, -0.59, 0.47, 0.11, -1.07, 3.99, -0.50, 0.43],
    [5.26, 0.14, 0.85, 0.04, 1.26, 1.21, 0.84, -1.30, 4.22, -0.05, 0.45],
    [2.73, 0.21, 0.26, 0.43, 0.87, 0.69, 0.99, -0.59, 2.06, 0.16, 0.16],
    [3.42, 0.68, 0.72, 1.73, 0.89, 0.32, 0.34, 0.02, 0.39, -0.15, -0.03],
])
"""Prior mean, shape (classes, features)."""
SPREAD = np.array([0.71, 1.02, 0.82, 0.99, 1.00, 0.74, 0.95, 1.06, 1.12, 1.62, 1.36])
"""Prior standard deviation, four times that between sites, shape (features,)."""
NOISE_C = np.array([2.58, 2.37, 1.63, 1.20])
"""Error left [°C], shape (classes,)."""
TYPICAL = np.zeros(11)
"""What an unknown feature is taken for."""
# fmt: on
