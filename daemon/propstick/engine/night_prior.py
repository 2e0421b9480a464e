"""Where the night regression starts from: coefficients, how far boxes differ, and the error left.

Printed by `tests/bench/fit_night_prior.py`.
"""

from __future__ import annotations

import numpy as np

BINS = ("before sunset", "dusk", "over 8.5 h left", "over 6.5 h", "over 4.5 h", "over 2.5 h", "less")

_ROUGH = np.array([0, 0, 0.4, 0.4, -0.3, 0.25, -0.2, 0.15, 0.7, 0.0, -0.2, 0.0, 0.0, 0.0])
COEFFICIENT = {name: np.tile(_ROUGH, (7, 1)) for name in ("alone", "beside", "humid")}
SPREAD = np.array([0.6, 0.6, 0.3, 0.3, 0.2, 0.2, 0.2, 0.2, 0.3, 0.2, 0.2, 0.2, 0.2, 0.2])
NOISE_C = {v: np.array([2.6, 2.3, 1.9, 1.7, 1.4, 1.0, 0.5]) for v in COEFFICIENT}
TYPICAL = {v: np.zeros((7, 14)) for v in COEFFICIENT}
