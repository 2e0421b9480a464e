"""Steady and invented weathers that several simulation tests share."""

import numpy as np
import pytest

from propstick.simulation.weather import Weather, invented

START_S = 1_773_705_600  # 2026-03-17T00:00Z


@pytest.fixture(scope="session")
def steady():
    """A weather that never changes: `steady(minutes=..., air_c=..., ghi=...)`."""

    def make(
        *, minutes, air_c=5.0, dew_c=0.0, wind=1.0, sky=None, dni=0.0, dhi=0.0, elevation=40.0, rain=0.0
    ):
        def full(value):
            return np.full(minutes, float(value))

        sky = 0.8 * 5.67e-8 * (air_c + 273.15) ** 4 if sky is None else sky
        return Weather(
            time_s=START_S + 60 * np.arange(minutes, dtype=np.int64),
            air_c=full(air_c),
            dew_point_c=full(dew_c),
            wind_m_s=full(wind),
            cloud=full(0.0),
            cover=full(0.0),
            rain_mm_h=full(rain),
            ghi_w_m2=full(dni * np.sin(np.radians(elevation)) + dhi),
            dni_w_m2=full(dni),
            dhi_w_m2=full(dhi),
            sky_longwave_w_m2=full(sky),
            sun_elevation_deg=full(elevation),
            sun_azimuth_deg=full(180.0),
        )

    return make


@pytest.fixture(scope="session")
def spring_week():
    """Seven invented days of March at 50° N."""
    return invented(50.0, 8.0, start_s=START_S, days=7, seed=11)
