"""The learnt part of the night forecast: the drop regressed on what the evening says.

One Bayesian linear regression per column (boxes, then outside) and span of hours left, in information
form. It starts from `night_prior.py` and forgets towards it, so that a season old box still follows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine import night_prior
from propstick.engine.evening import FEATURES, NAMES, Evening
from propstick.units import FloatArray, IntArray

BINS = len(night_prior.BINS)
_VARIANT = {name: k for k, name in enumerate(night_prior.VARIANTS)}

# Tuned on development nights, no other authority.
SAMPLE_WEIGHT = 0.6
FORGETTING = 0.98
SWITCH_NIGHTS = 3
"""Nights in a row with other probes before a regression starts anew; a probe may be silent for one."""


@dataclass(frozen=True)
class Regression:
    """Carried from night to night; c columns, f features.

    Attributes:
        variant: Which prior each column learns from (index into `night_prior.VARIANTS`), shape (c,).
        others: Nights in a row on which another variant fitted what was measured, shape (c,).
        precision, vector: Information form, shapes (bins, c, f, f) and (bins, c, f).
    """

    variant: IntArray
    others: IntArray
    precision: FloatArray
    vector: FloatArray


@dataclass(frozen=True)
class Sample:
    """What an issue hour taught: the evening, the drop that came, how far the forecast was off."""

    bin: int
    evening: Evening
    drop_c: FloatArray
    off_c: FloatArray


def start(boxes: int) -> Regression:
    """Before the first night."""
    variant = np.array([_VARIANT["beside"]] * boxes + [_VARIANT["ground"]])
    return Regression(variant, np.zeros_like(variant), *_prior(variant))


def bin_of(hour: int, left: float) -> int:
    """Which regression an issue belongs to: before sunset, dusk, then by hours left to sunrise."""
    if hour < 0:
        return 0
    if hour < 2:
        return 1
    return 2 + int((left <= 8.5) + (left <= 6.5) + (left <= 4.5)) + int(left <= 2.5)


def variant_of(evening: Evening) -> IntArray:
    """The prior that fits what was measured on that evening, shape (c,)."""
    humid = not np.isnan(evening.features[-1, NAMES.index("dew_gap")])
    box = ("humid" if humid else "beside") if evening.beside else "alone"
    ground = "ground humid" if humid else "ground"
    return np.array([_VARIANT[box]] * (len(evening.air_c) - 1) + [_VARIANT[ground]])


def noise_c(evening: Evening, which: int) -> FloatArray:
    """Error to expect of the regression before it has a record, shape (c,)."""
    return night_prior.NOISE_C[variant_of(evening), which]


def drops_c(regression: Regression, evening: Evening, which: int) -> tuple[FloatArray, FloatArray]:
    """Drop from the present air as learnt and by the prior alone, each (c,).

    Where tonight lacks a probe that was learnt with, or has a new one, the prior for that stands in.
    """
    tonight = variant_of(evening)
    x = _filled(evening.features, tonight)
    prior = _dot(x, night_prior.COEFFICIENT[tonight, which])
    coefficient = np.linalg.solve(regression.precision[which], regression.vector[which][..., None])[..., 0]
    learnt = np.where(tonight == regression.variant, _dot(x, coefficient), prior)
    return np.minimum(learnt, 0.0), np.minimum(prior, 0.0)


def add_night(regression: Regression, samples: list[Sample]) -> Regression:
    """Forget a little towards the prior, then add the night's samples."""
    regression = _switched(regression, samples)
    prior_precision, prior_vector = _prior(regression.variant)
    precision = FORGETTING * regression.precision + (1.0 - FORGETTING) * prior_precision
    vector = FORGETTING * regression.vector + (1.0 - FORGETTING) * prior_vector
    for sample in samples:
        known = ~np.isnan(sample.drop_c) & (variant_of(sample.evening) == regression.variant)
        x = _filled(sample.evening.features, regression.variant)
        noise = night_prior.NOISE_C[regression.variant, sample.bin]
        # Huber: a night unlike any other must not turn the regression.
        off = np.abs(np.where(known, sample.off_c, 0.0)) / noise
        weight = np.where(known, SAMPLE_WEIGHT / noise**2 / np.maximum(off / 2.0, 1.0), 0.0)
        precision[sample.bin] += weight[:, None, None] * x[:, :, None] * x[:, None, :]
        vector[sample.bin] += (weight * np.where(known, sample.drop_c, 0.0))[:, None] * x
    return Regression(regression.variant, regression.others, precision, vector)


def _switched(regression: Regression, samples: list[Sample]) -> Regression:
    """Move a column to another prior once other probes have been there for some nights."""
    wanted = variant_of(samples[len(samples) // 2].evening)
    others = np.where(wanted != regression.variant, regression.others + 1, 0)
    switch = others >= SWITCH_NIGHTS
    if not switch.any():
        return Regression(regression.variant, others, regression.precision, regression.vector)
    variant = np.where(switch, wanted, regression.variant)
    precision, vector = _prior(variant)
    return Regression(
        variant=variant,
        others=np.where(switch, 0, others),
        precision=np.where(switch[None, :, None, None], precision, regression.precision),
        vector=np.where(switch[None, :, None], vector, regression.vector),
    )


def _prior(variant: IntArray) -> tuple[FloatArray, FloatArray]:
    """Information form of the prior of each bin and column."""
    diagonal = 1.0 / night_prior.SPREAD[variant] ** 2
    coefficient = np.swapaxes(night_prior.COEFFICIENT[variant], 0, 1)
    precision = diagonal[:, :, None] * np.eye(FEATURES)
    return np.repeat(precision[None], BINS, axis=0), coefficient * diagonal


def _filled(features: FloatArray, variant: IntArray) -> FloatArray:
    """Features with the typical value in place of an unknown one."""
    return np.where(np.isnan(features), night_prior.TYPICAL[variant], features)


def _dot(x: FloatArray, coefficient: FloatArray) -> FloatArray:
    return (x * coefficient).sum(axis=-1)
