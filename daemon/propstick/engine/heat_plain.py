"""Heat-ahead by distance and straight line alone: the plain method that the model has to beat.

It decides, half and half with the model, while a box does not behave as learnt, and alone at the
horizons at which the model's record is no better; the benches and the marks of past forecasts stand
beside it.
"""

from __future__ import annotations

import numpy as np

from propstick.units import FloatArray

HORIZONS_MIN = (20, 30, 60)
_LINE_MIN = 20.0
LINE_WEIGHTS = (
    (0.9339, 0.1821, -2.185, -0.6411, 0.273, 0.04116),
    (1.204, 0.2635, -1.92, -0.5874, 0.1618, 0.04254),
    (1.493, 0.3089, -1.487, -0.494, 0.08537, 0.04014),
)
DISTANCE_WEIGHTS = ((1.076, -0.1986, -1.914), (1.266, -0.1649, -1.691), (1.507, -0.09926, -1.338))
"""Logistic weights for 20, 30 and 60 min of 1, gap, root of gap (and gap left after 20 min on the present
line, its size, slope per minute); fitted to invented weather and invented boxes."""


def line_chances(gap_c: FloatArray, slope_c_min: FloatArray) -> FloatArray:
    """Chance to pass the limit within 20, 30 and 60 min, (3, …), from the gap and the present slope."""
    line = gap_c - _LINE_MIN * slope_c_min
    root = np.sqrt(np.maximum(gap_c, 0.0))
    return np.stack([_chance(w, gap_c, root, line, np.abs(line), slope_c_min) for w in LINE_WEIGHTS])


def distance_chances(gap_c: FloatArray) -> FloatArray:
    """The same from the gap alone, (3, …)."""
    root = np.sqrt(np.maximum(gap_c, 0.0))
    return np.stack([_chance(w, gap_c, root) for w in DISTANCE_WEIGHTS])


def _chance(weights: tuple[float, ...], *values: FloatArray) -> FloatArray:
    score = np.full(np.shape(values[0]), weights[0])
    for weight, value in zip(weights[1:], values, strict=True):
        score = score + weight * value
    return 1.0 / (1.0 + np.exp(-np.clip(score, -30.0, 30.0)))
