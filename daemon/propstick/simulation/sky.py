"""Sun and warmth from the sky: clear-sky beam and diffuse light, the effect of cloud, long waves."""

from __future__ import annotations

import numpy as np

from propstick.units import KELVIN_AT_0_C, FloatArray

SIGMA_W_M2_K4 = 5.670374419e-8
SOLAR_CONSTANT_W_M2 = 1361.0
_OVERCAST_SHARE = 0.27
"""Light under a closed cloud sheet over that of a clear sky; common practice, no source."""


def clear_sky(
    elevation_deg: FloatArray, time_s: FloatArray, *, linke: float = 3.2
) -> tuple[FloatArray, FloatArray]:
    """Beam (facing the sun) and diffuse (level) light of a cloudless sky [W/m²].

    Args:
        linke: Turbidity; 2 very clean, 3 to 4 lowland spring, 6 hazy.

    Source:
        The ESRA form of the Linke model: Rigollier, Bauer, Wald (2000), Solar Energy 68, 33; optical
        depth of Kasten (1996); air mass of Kasten and Young (1989). Coefficients from memory, checked
        in the tests against pvlib's Ineichen and Perez model.
    """
    elevation = np.asarray(elevation_deg, dtype=float)
    up = np.maximum(elevation, 0.1)
    sin_up = np.sin(np.radians(up))
    mass = 1.0 / (sin_up + 0.50572 * np.power(up + 6.07995, -1.6364))
    depth = np.where(
        mass < 20.0,
        1.0 / (6.6296 + mass * (1.7513 + mass * (-0.1202 + mass * (0.0065 - mass * 0.00013)))),
        1.0 / (10.4 + 0.718 * mass),
    )
    day = np.remainder(np.asarray(time_s, dtype=float) / 86_400.0, 365.2425)
    extra = SOLAR_CONSTANT_W_M2 * (1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.2425))
    beam = extra * np.exp(-0.8662 * linke * mass * depth)
    zenith_share = -1.5843e-2 + linke * (3.0543e-2 + 3.797e-4 * linke)
    a0 = max(2.6463e-1 + linke * (-6.1581e-2 + 3.1408e-3 * linke), 2e-3 / zenith_share)
    a1 = 2.0402 + linke * (1.8945e-2 - 1.1161e-2 * linke)
    a2 = -1.3025 + linke * (3.9231e-2 + 8.5079e-3 * linke)
    diffuse = extra * zenith_share * (a0 + sin_up * (a1 + a2 * sin_up))
    above = elevation > 0.1
    twilight = np.clip((elevation + 4.0) / 4.1, 0.0, 1.0) * 3.0
    return np.where(above, beam, 0.0), np.where(above, np.maximum(diffuse, 3.0), twilight)


def through_cloud(
    beam_w_m2: FloatArray,
    diffuse_w_m2: FloatArray,
    sin_elevation: FloatArray,
    *,
    cloud: FloatArray,
    cover: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Beam and diffuse light under cloud [W/m²].

    Args:
        cloud: Opacity of what stands before the sun this minute, 0–1.
        cover: Share of the whole sky that is cloud, 0–1.
    """
    total = beam_w_m2 * np.maximum(sin_elevation, 0.0) + diffuse_w_m2
    lit = (1.0 - cover) * diffuse_w_m2 + cover * _OVERCAST_SHARE * total
    # White flanks of broken cloud add light while the sun stands in a gap.
    flanks = 0.10 * 4.0 * cover * (1.0 - cover) * (1.0 - cloud) * total
    return beam_w_m2 * (1.0 - cloud), lit + flanks


def longwave_w_m2(air_c: FloatArray, dew_c: FloatArray, cover: FloatArray) -> FloatArray:
    """Warmth that sky and cloud send down [W/m²].

    Source:
        Clark and Allen (1978), emissivity 0.787 + 0.764 ln(Td/273.15), Td in kelvin, with their cloud
        factor 1 + 0.0224 N - 0.0035 N² + 0.00028 N³, N in tenths, as a building library carries it.
    """
    dew_k = np.asarray(dew_c, dtype=float) + KELVIN_AT_0_C
    tenths = 10.0 * np.asarray(cover, dtype=float)
    factor = 1.0 + tenths * (0.0224 + tenths * (-0.0035 + tenths * 0.00028))
    emissivity = np.minimum((0.787 + 0.764 * np.log(dew_k / KELVIN_AT_0_C)) * factor, 1.0)
    return emissivity * SIGMA_W_M2_K4 * np.power(np.asarray(air_c, dtype=float) + KELVIN_AT_0_C, 4.0)
