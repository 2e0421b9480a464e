"""Boxes under a weather: minute by minute for a closed loop, or a whole season at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from propstick.simulation.balance import Fluxes, advance
from propstick.simulation.boxes import Drive, Frames, Lids
from propstick.simulation.drive import drives, start
from propstick.simulation.frame import FrameSpec
from propstick.simulation.ground import open_ground
from propstick.simulation.weather import Weather
from propstick.units import FloatArray, IntArray


@dataclass(frozen=True, kw_only=True)
class Now:
    """True temperatures after one minute. Arrays of shape (b,) where a box is meant."""

    time_s: int
    air_c: FloatArray
    soil_c: FloatArray
    surface_c: FloatArray
    sun_w_m2: FloatArray
    """Sun that fell into each box, per square metre of floor."""
    outside_air_c: float
    outside_soil_c: float
    outside_sun_w_m2: float


@dataclass(frozen=True, kw_only=True)
class Traces:
    """True temperatures of a whole run: box arrays (n, b), outside arrays (n,). Minutes as the weather's."""

    time_s: IntArray
    air_c: FloatArray
    soil_c: FloatArray
    surface_c: FloatArray
    sun_w_m2: FloatArray
    outside_air_c: FloatArray
    outside_soil_c: FloatArray
    outside_sun_w_m2: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)

    def nows(self) -> Iterator[Now]:
        """The same minutes one by one, as `Garden.step` would have told them."""
        for row, time_s in enumerate(self.time_s.tolist()):
            yield Now(
                time_s=time_s,
                air_c=self.air_c[row],
                soil_c=self.soil_c[row],
                surface_c=self.surface_c[row],
                sun_w_m2=self.sun_w_m2[row],
                outside_air_c=float(self.outside_air_c[row]),
                outside_soil_c=float(self.outside_soil_c[row]),
                outside_sun_w_m2=float(self.outside_sun_w_m2[row]),
            )


class Garden:
    """A garden that is stepped through its weather once, from the first minute to the last.

    The weather's row i acts during the minute that ends at `time_s[i]`; temperatures are those at its
    end. Boxes start at the temperature of outside; let a day pass before judging anything.
    """

    def __init__(self, weather: Weather, specs: Sequence[FrameSpec]) -> None:
        self.weather = weather
        self.frames = Frames(tuple(specs))
        self.row = 0
        self.ground = open_ground(weather)
        self.state = start(weather, self.frames, self.ground)
        self.fluxes: Fluxes | None = None
        """Heat that crossed the borders of each box in the last minute."""
        self._drives = drives(weather, self.frames, self.ground)
        self._lids: Lids | None = None
        self._lids_key: tuple[bytes, bytes] | None = None

    def __len__(self) -> int:
        return len(self.weather)

    @property
    def time_s(self) -> int:
        """UTC seconds of the minute that `step` does next."""
        return int(self.weather.time_s[self.row])

    def step(self, t: int, lid: FloatArray, cover: FloatArray) -> Now:
        """Do the minute that ends at `t`, which must be the next one.

        Args:
            lid: Opening of each box, 0–1, shape (b,).
            cover: 1 where the blanket is on, shape (b,).

        Raises:
            ValueError: `t` is not `time_s`.
            IndexError: The weather is over.
        """
        if t != self.time_s:
            raise ValueError(f"simulated minute: got {t}, expected {self.time_s}")
        row = self.row
        drive = self.advance(np.asarray(lid, dtype=float), np.asarray(cover, dtype=float))
        return Now(
            time_s=t,
            air_c=self.state.air_c,
            soil_c=self.frames.at_probe(self.state.soil_c),
            surface_c=self.state.soil_c[0],
            sun_w_m2=drive.sun_in / (self.frames.floor * self.frames.takes),
            outside_air_c=float(self.weather.air_c[row]),
            outside_soil_c=float(self.ground.probe_c[row]),
            outside_sun_w_m2=float(self.weather.ghi_w_m2[row]),
        )

    def advance(self, lid: FloatArray, cover: FloatArray) -> Drive:
        """Do the next minute without telling about it; `step` and `run` both go through here."""
        key = (lid.tobytes(), cover.tobytes())
        if self._lids is None or key != self._lids_key:
            self._lids = Lids(self.frames, lid=lid.copy(), cover=cover.copy())
            self._lids_key = key
        drive = next(self._drives)
        self.state, self.fluxes = advance(self.state, drive, self.frames, self._lids)
        self.row += 1
        return drive


def run(weather: Weather, specs: Sequence[FrameSpec], lid: FloatArray, cover: FloatArray) -> Traces:
    """A whole weather at once, the same to the last bit as `Garden.step` minute by minute.

    Args:
        lid, cover: Shape (n, b), or anything that broadcasts to it.
    """
    garden = Garden(weather, specs)
    n, b = len(weather), len(specs)
    lid = np.broadcast_to(np.asarray(lid, dtype=float), (n, b))
    cover = np.broadcast_to(np.asarray(cover, dtype=float), (n, b))
    air, soil, surface, sun = (np.empty((n, b)) for _ in range(4))
    for row in range(n):
        drive = garden.advance(lid[row], cover[row])
        sun[row] = drive.sun_in
        air[row] = garden.state.air_c
        surface[row] = garden.state.soil_c[0]
        soil[row] = garden.frames.at_probe(garden.state.soil_c)
    return Traces(
        time_s=weather.time_s,
        air_c=air,
        soil_c=soil,
        surface_c=surface,
        sun_w_m2=sun / (garden.frames.floor * garden.frames.takes),
        outside_air_c=weather.air_c,
        outside_soil_c=garden.ground.probe_c,
        outside_sun_w_m2=weather.ghi_w_m2,
    )
