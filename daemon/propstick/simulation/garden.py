"""Boxes under a weather: minute by minute for a closed loop, or a whole season at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from propstick.garden import Obstacle
from propstick.simulation import glazing
from propstick.simulation.balance import Drive, Fluxes, Frames, State, advance, saturated_kg_m3
from propstick.simulation.frame import SOIL_LAYERS_M, FrameSpec
from propstick.simulation.ground import deep_soil_c, open_ground
from propstick.simulation.weather import Weather
from propstick.units import FloatArray, IntArray

GROUND_ALBEDO = 0.18
_CHUNK = 1440
SNOW_BELOW_C = 0.5


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


class Garden:
    """A garden that is stepped through its weather once, from the first minute to the last.

    The weather's row i acts during the minute that ends at `time_s[i]`; temperatures are those at its
    end. Boxes start at the temperature of outside; let a day pass before judging anything.
    """

    def __init__(self, weather: Weather, specs: Sequence[FrameSpec]) -> None:
        self.weather = weather
        self.frames = Frames(tuple(specs))
        self.row = 0
        self._deep = deep_soil_c(weather)
        self._ground = open_ground(weather, self._deep, albedo=GROUND_ALBEDO)
        middle = np.cumsum(SOIL_LAYERS_M) - 0.5 * np.array(SOIL_LAYERS_M)
        self._ground_probe = np.array([np.interp(0.05, middle, unit) for unit in np.eye(len(middle))])
        self._vapour_out = saturated_kg_m3(weather.dew_point_c)
        self._snow = np.where(weather.air_c < SNOW_BELOW_C, weather.rain_mm_h / 60.0, 0.0)
        self._sun_from = -1
        self._sun: tuple[FloatArray, FloatArray, FloatArray] = ()  # type: ignore[assignment]
        b = len(self.frames)
        air = np.full(b, float(weather.air_c[0]))
        self.state = State(
            air_c=air,
            pane_c=air.copy(),
            wall_c=air.copy(),
            soil_c=np.repeat(self._ground[0][:, None], b, axis=1),
            vapour_kg_m3=np.full(b, float(self._vapour_out[0])),
            film_kg_m2=np.zeros(b),
            snow_kg_m2=np.zeros(b),
        )
        self.fluxes: Fluxes | None = None
        """Heat that crossed the borders of each box in the last minute."""

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
        weather, row = self.weather, self.row
        sun_in, sun_open, sun_pane = self._sun_at(row)
        drive = Drive(
            outside_c=float(weather.air_c[row]),
            vapour_kg_m3=float(self._vapour_out[row]),
            wind_m_s=float(weather.wind_m_s[row]),
            sky_w_m2=float(weather.sky_longwave_w_m2[row]),
            snow_kg_m2=float(self._snow[row]),
            deep_c=float(self._deep[row]),
            ground_c=self._ground[row][:, None],
            sun_in=sun_in,
            sun_open=sun_open,
            sun_pane=sun_pane,
        )
        self.state, self.fluxes = advance(
            self.state,
            drive,
            self.frames,
            lid=np.asarray(lid, dtype=float),
            cover=np.asarray(cover, dtype=float),
        )
        self.row += 1
        return Now(
            time_s=t,
            air_c=self.state.air_c,
            soil_c=self.frames.at_probe(self.state.soil_c),
            surface_c=self.state.soil_c[0],
            sun_w_m2=sun_in,
            outside_air_c=float(weather.air_c[row]),
            outside_soil_c=float((self._ground_probe * self._ground[row]).sum()),
            outside_sun_w_m2=float(weather.ghi_w_m2[row]),
        )

    def _sun_at(self, row: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        start = row - row % _CHUNK
        if start != self._sun_from:
            self._sun = sun_on_frames(self.weather, self.frames.specs, slice(start, start + _CHUNK))
            self._sun_from = start
        sun_in, sun_open, sun_pane = self._sun
        return sun_in[row - start], sun_open[row - start], sun_pane[row - start]


def run(weather: Weather, specs: Sequence[FrameSpec], lid: FloatArray, cover: FloatArray) -> Traces:
    """A whole weather at once, the same to the last bit as `Garden.step` minute by minute.

    Args:
        lid, cover: Shape (n, b), or anything that broadcasts to it.
    """
    garden = Garden(weather, specs)
    n, b = len(weather), len(specs)
    lid = np.broadcast_to(np.asarray(lid, dtype=float), (n, b))
    cover = np.broadcast_to(np.asarray(cover, dtype=float), (n, b))
    nows = [garden.step(t, lid[row], cover[row]) for row, t in enumerate(weather.time_s.tolist())]
    return Traces(
        time_s=weather.time_s,
        air_c=np.array([now.air_c for now in nows]),
        soil_c=np.array([now.soil_c for now in nows]),
        surface_c=np.array([now.surface_c for now in nows]),
        sun_w_m2=np.array([now.sun_w_m2 for now in nows]),
        outside_air_c=np.array([now.outside_air_c for now in nows]),
        outside_soil_c=np.array([now.outside_soil_c for now in nows]),
        outside_sun_w_m2=np.array([now.outside_sun_w_m2 for now in nows]),
    )


def sun_on_frames(
    weather: Weather, specs: Sequence[FrameSpec], rows: slice
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sun let in per floor, sun on the open bed per floor, sun taken up per pane; each (n, b) [W/m²]."""
    elevation, azimuth = weather.sun_elevation_deg[rows], weather.sun_azimuth_deg[rows]
    dni, dhi, ghi = weather.dni_w_m2[rows], weather.dhi_w_m2[rows], weather.ghi_w_m2[rows]
    sin_up = np.maximum(np.sin(np.radians(elevation)), 0.0)
    let_in, bare, taken = [], [], []
    for spec in specs:
        seen = glazing.beam_share(
            elevation, azimuth, obstacles=spec.obstacles, leafless=_leafless(weather.time_s[rows], spec.obstacles)
        )
        angle = glazing.incidence_deg(
            elevation, azimuth, tilt_deg=spec.tilt_deg, faces_deg=spec.faces_deg
        )
        tilt = np.radians(spec.tilt_deg)
        half_sky = 0.5 * (1.0 + np.cos(tilt)) * glazing.sky_view(spec.obstacles)
        beam = dni * seen * np.maximum(np.cos(np.radians(angle)), 0.0) * (elevation > 0.0)
        diffuse = dhi * half_sky + GROUND_ALBEDO * ghi * 0.5 * (1.0 - np.cos(tilt))
        per_floor = 0.95 / np.cos(tilt)  # pane area over floor area
        through = beam * glazing.transmission_share(angle) + diffuse * glazing.DIFFUSE_SHARE
        # A low sun lights the inside of the near wall, not the bed: the deeper the box, the more.
        let_in.append(spec.light * through * per_floor)
        bare.append(dni * seen * sin_up + dhi * glazing.sky_view(spec.obstacles))
        taken.append(0.08 * (beam + diffuse))
    return np.stack(let_in, axis=1), np.stack(bare, axis=1), np.stack(taken, axis=1)


def _leafless(time_s: IntArray, obstacles: Sequence[Obstacle]) -> FloatArray:
    """Whether each obstacle is a bare tree at each minute, shape (obstacles, n)."""
    bare = np.zeros((len(obstacles), len(time_s)), dtype=bool)
    days, of_minute = np.unique(time_s // 86_400, return_inverse=True)
    dates = [datetime.fromtimestamp(int(day) * 86_400, UTC) for day in days]
    for k, obstacle in enumerate(obstacles):
        if obstacle.leafless_until is not None:
            before = np.array([(date.month, date.day) < obstacle.leafless_until for date in dates])
            bare[k] = before[of_minute]
    return bare
