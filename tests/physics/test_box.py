"""The box's heat balance: limits a grower can check by hand, and an independent solver."""

import numpy as np
import pytest

from propstick.physics.box import BoxRates, air_exchange, decay, steady_air_c, step

RATES = BoxRates(*(np.array([v]) for v in (0.052, 0.043, 0.42, 0.0245, 0.06, 1.0)))


def run(minutes, *, air=10.0, surface=10.0, lid=0.0, outside=10.0, soil=10.0, sun=0.0, step_min=1.0):
    """The path of air and surface from a given start."""
    air, surface = np.array([air]), np.array([surface])
    exchange = air_exchange(RATES, np.array([lid]))
    for _ in range(int(minutes / step_min)):
        air, surface = step(
            air, surface, rates=RATES, exchange=exchange, outside_c=outside, soil_c=soil,
            sun_c=np.array([sun]), chill_c=np.array([0.0]), minutes=step_min,
        )  # fmt: skip
    return air[0], surface[0]


def test_a_dark_box_at_one_temperature_stays_there():
    """With everything at 10 °C nothing moves."""
    assert run(600) == pytest.approx((10.0, 10.0), abs=1e-12)


def test_the_path_ends_at_the_steady_state():
    """A day of steady sun ends where the balances say, and the warmth in equals the warmth out."""
    air, surface = run(1440, sun=0.5, outside=5.0)
    exchange = air_exchange(RATES, np.array([0.0]))
    steady = steady_air_c(
        rates=RATES, exchange=exchange, outside_c=5.0, soil_c=np.array([10.0]), sun_c=np.array([0.5])
    )
    assert air == pytest.approx(steady[0], abs=1e-6)
    gains = 0.5 + RATES.soil_air[0] * (surface - air)
    assert gains == pytest.approx(exchange[0] * (air - 5.0), abs=1e-6)


def test_the_step_follows_an_independent_solver():
    """scipy's solver of the same two equations over 2 h of sun: within 0.15 °C at 1 min steps."""
    integrate = pytest.importorskip("scipy.integrate")
    loss, soil_air, _, surface_air, surface_soil, surface_sun = (rate[0] for rate in RATES)

    def balance(_, state):
        air, surface = state
        return [
            loss * (5.0 - air) + soil_air * (surface - air) + 0.4,
            surface_air * (air - surface) + surface_soil * (10.0 - surface) + surface_sun * 0.4,
        ]

    exact = integrate.solve_ivp(balance, (0, 120), [10.0, 10.0], rtol=1e-9).y[:, -1]
    assert run(120, sun=0.4, outside=5.0) == pytest.approx(tuple(exact), abs=0.15)


def test_a_longer_step_says_the_same():
    """Five-minute steps end within 0.3 °C of one-minute steps."""
    fine, coarse = run(120, sun=0.4, outside=5.0), run(120, sun=0.4, outside=5.0, step_min=5.0)
    assert coarse == pytest.approx(fine, abs=0.3)


def test_an_open_lid_brings_the_air_to_outside():
    """In the sun a box with its lid up is much nearer to outside than a closed one."""
    closed, _ = run(240, sun=0.5, outside=5.0)
    opened, _ = run(240, sun=0.5, outside=5.0, lid=1.0)
    assert closed - 5.0 > 2.5 * (opened - 5.0)


def test_decay_closes_two_thirds_in_one_time_constant():
    """1 - 1/e."""
    assert decay(12.0, 12.0) == pytest.approx(0.632, abs=0.001)
