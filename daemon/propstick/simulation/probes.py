"""What a cheap digital probe says of a true temperature, and the ways in which it fails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from propstick.blocks import Flag
from propstick.garden import OUTSIDE, Place
from propstick.records import Reading
from propstick.simulation.garden import Now
from propstick.units import FlagArray, FloatArray

STEP_C = 1.0 / 16.0
"""One step at 12 bit (datasheet of the 1-wire thermometer)."""
POWER_ON_C = 85.0
"""What the scratchpad holds before the first conversion (the same datasheet)."""

FaultKind = Literal["power-on", "checksum", "stuck", "silent", "swap", "jump"]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A probe misbehaves from one moment until another.

    Attributes:
        share: Chance of each reading to be struck.
        size_c: Of a jump.
        other: Id of the probe it has changed places with.
    """

    kind: FaultKind
    from_s: int
    until_s: int
    share: float = 1.0
    size_c: float = 12.0
    other: str | None = None


@dataclass(frozen=True, kw_only=True)
class SimulatedProbe:
    """One probe and its manners. Defaults: a sheathed probe, shaded; common practice, no source.

    Attributes:
        box: A box's name, or `outside`.
        lag_minutes: First-order lag.
        sun_c: Reads too high by this at 1000 W/m²: 0.5 shaded, 2–4 under a poor shade (a shield
            without a fan in calm clear noon reads 2–4 K high in a published model of 2001).
        sky_c: Reads too low by this under a clear night sky.
    """

    id: str
    box: str
    place: Place
    lag_minutes: float = 3.0
    noise_c: float = 0.03
    offset_c: float = 0.0
    sun_c: float = 0.6
    sky_c: float = 0.2
    faults: tuple[Fault, ...] = ()

    @classmethod
    def draw(cls, seed: int, *, id: str, box: str, place: Place) -> SimulatedProbe:
        """A plausible probe: within the datasheet's ±0.5 °C, one in six badly shaded."""
        rng = np.random.default_rng([0x9B0BE, seed])
        buried = place == "soil"
        badly = not buried and rng.random() < 1.0 / 6.0
        return cls(
            id=id,
            box=box,
            place=place,
            lag_minutes=float(rng.uniform(4.0, 8.0) if buried else rng.uniform(1.5, 5.0)),
            noise_c=float(rng.uniform(0.01, 0.05)),
            offset_c=float(np.clip(rng.normal(0.0, 0.2), -0.5, 0.5)),
            sun_c=0.0 if buried else float(rng.uniform(2.5, 5.0) if badly else rng.uniform(0.2, 1.0)),
            sky_c=0.0 if buried else float(rng.uniform(0.0, 0.5)),
        )


class Sensed(NamedTuple):
    """One minute of all probes, shape (p,): raw values, NaN where silent, and `Flag` bits."""

    time_s: int
    raw_c: FloatArray
    flags: FlagArray


class ProbeRack:
    """All probes of a garden, read minute by minute; deterministic by seed."""

    def __init__(self, probes: Sequence[SimulatedProbe], *, boxes: Sequence[str], seed: int) -> None:
        def of(name: str) -> FloatArray:
            return np.array([float(getattr(probe, name)) for probe in probes])

        self.probes = tuple(probes)
        self._source = np.array([_source(probe, list(boxes)) for probe in probes])
        self._keep = np.exp(-1.0 / np.maximum(of("lag_minutes"), 1e-3))
        self._noise, self._offset = of("noise_c"), of("offset_c")
        self._sun, self._sky = of("sun_c") / 1000.0, of("sky_c")
        self._rng = np.random.default_rng([0x5E15E, seed])
        self._felt: FloatArray | None = None
        self._stuck: dict[int, float] = {}

    def sense(self, now: Now) -> Sensed:
        """What the probes answer after that minute, which must follow the one before."""
        true, sun = _vectors(now)
        here = true[self._source] + self._sun * sun[self._source]
        # Under the night sky a probe cools below its air; light is the cheapest sign of night.
        here = here - self._sky * (now.outside_sun_w_m2 < 5.0)
        self._felt = here if self._felt is None else here + self._keep * (self._felt - here)
        noise = self._rng.standard_normal(len(self.probes))
        chance = self._rng.random(len(self.probes))
        raw = self._felt + self._offset + self._noise * noise
        raw = np.round(raw / STEP_C) * STEP_C
        flags = np.zeros(len(self.probes), dtype=np.uint16)
        said = raw.copy()
        for k, probe in enumerate(self.probes):
            for fault in probe.faults:
                if fault.from_s <= now.time_s < fault.until_s and chance[k] < fault.share:
                    said[k], flags[k] = self._faulty(k, fault, raw)
                elif fault.kind == "stuck" and now.time_s >= fault.until_s:
                    self._stuck.pop(k, None)
        return Sensed(now.time_s, said, flags)

    def readings(self, sensed: Sensed) -> tuple[Reading, ...]:
        """The same as readings; a silent probe gives none, a bad checksum gives no value."""
        return tuple(
            Reading(
                probe=probe.id,
                time_ms=sensed.time_s * 1000,
                value=None if flag & int(Flag.CHECKSUM) else value,
                flags=flag,
            )
            for probe, value, flag in zip(
                self.probes, sensed.raw_c.tolist(), sensed.flags.tolist(), strict=True
            )
            if value == value or flag
        )

    def _faulty(self, k: int, fault: Fault, raw: FloatArray) -> tuple[float, int]:
        if fault.kind == "silent":
            return float("nan"), 0
        if fault.kind == "checksum":
            return float("nan"), int(Flag.CHECKSUM)
        if fault.kind == "power-on":
            return POWER_ON_C, 0
        if fault.kind == "stuck":
            return self._stuck.setdefault(k, float(raw[k])), 0
        if fault.kind == "jump":
            return float(raw[k]) + round(fault.size_c / STEP_C) * STEP_C, 0
        others = [j for j, probe in enumerate(self.probes) if probe.id == fault.other]
        return (float(raw[others[0]]) if others else float(raw[k])), 0


def _source(probe: SimulatedProbe, boxes: list[str]) -> int:
    """Where in `_vectors` the probe looks: outside air, outside soil, then air and soil of each box."""
    if probe.place not in ("air", "soil"):
        raise ValueError(f"simulated probe {probe.id}: got place {probe.place}, expected air or soil")
    below = 1 if probe.place == "soil" else 0
    return below if probe.box == OUTSIDE else 2 + 2 * boxes.index(probe.box) + below


def _vectors(now: Now) -> tuple[FloatArray, FloatArray]:
    b = len(now.air_c)
    true, sun = np.empty(2 + 2 * b), np.empty(2 + 2 * b)
    true[0], true[1] = now.outside_air_c, now.outside_soil_c
    true[2::2], true[3::2] = now.air_c, now.soil_c
    sun[:2] = now.outside_sun_w_m2
    sun[2::2] = sun[3::2] = now.sun_w_m2
    return true, sun
