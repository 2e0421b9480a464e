"""A probe's manners and faults."""

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Now, run
from propstick.simulation.probes import Fault, ProbeRack, SimulatedProbe


def _now(minute, *, air=10.0, soil=8.0, sun=0.0):
    return Now(
        time_s=60 * minute, air_c=np.array([air]), soil_c=np.array([soil]), surface_c=np.array([soil]),
        sun_w_m2=np.array([sun]), outside_air_c=5.0, outside_soil_c=6.0, outside_sun_w_m2=100.0,
    )  # fmt: skip


def _rack(*probes, seed=1):
    return ProbeRack(probes, boxes=["north"], seed=seed)


def _plain(id="a", place="air", **more):
    return SimulatedProbe(id=id, box="north", place=place, **{"noise_c": 0.0, "sky_c": 0.0, **more})


def test_lag_is_first_order():
    """63.2 % of a step after one time constant."""
    rack = _rack(_plain(lag_minutes=5.0))
    rack.sense(_now(0, air=10.0))
    said = [rack.sense(_now(k, air=30.0)).raw_c[0] for k in range(1, 6)]
    assert said[-1] == pytest.approx(30.0 - 20.0 * np.exp(-1.0), abs=1 / 32)


def test_values_are_whole_sixteenths():
    """12 bit of the datasheet: 0.0625 °C a step."""
    rack = _rack(_plain(noise_c=0.3, offset_c=0.07))
    said = np.array([rack.sense(_now(k)).raw_c[0] for k in range(200)])
    np.testing.assert_array_equal(said * 16.0, np.round(said * 16.0))
    assert said.std() == pytest.approx(0.3, rel=0.2)
    assert said.mean() == pytest.approx(10.07, abs=0.08)


def test_sun_warms_a_badly_shaded_probe():
    """A fanless shield in calm clear noon reads 2–4 K high (published model, 2001): 4 °C at 1000 W/m²."""
    rack = _rack(_plain(sun_c=4.0, lag_minutes=1e-3))
    assert rack.sense(_now(0, sun=800.0)).raw_c[0] == pytest.approx(13.2, abs=1 / 32)


def test_faults_say_what_such_probes_say():
    """85.0 at power-on (datasheet), a failed checksum without a value, silence, a jump, a frozen value,
    two probes that changed places; and all is well before and after."""

    def during(kind, **more):
        return (Fault(kind=kind, from_s=120, until_s=240, **more),)

    rack = _rack(
        _plain("on", faults=during("power-on")),
        _plain("crc", faults=during("checksum")),
        _plain("gone", faults=during("silent")),
        _plain("jump", faults=during("jump", size_c=12.0)),
        _plain("stuck", lag_minutes=1e-3, faults=during("stuck")),
        _plain("swap", faults=during("swap", other="deep")),
        _plain("deep", "soil"),
    )
    rows = [rack.sense(_now(k, air=10.0 + k)) for k in range(6)]
    readings = {reading.probe: reading for reading in rack.readings(rows[2])}
    assert readings["on"].value == 85.0
    assert readings["crc"].value is None
    assert readings["crc"].flags == Flag.CHECKSUM
    assert "gone" not in readings
    assert readings["jump"].value > 20.0
    assert rows[2].raw_c[4] == rows[3].raw_c[4] == 12.0
    assert rows[4].raw_c[4] == 14.0
    assert readings["swap"].value == 8.0
    assert len(rack.readings(rows[1])) == len(rack.readings(rows[4])) == 7


def _raw(rack, traces):
    return np.array([rack.sense(now).raw_c for now in traces.nows()])


@pytest.mark.slow
def test_same_seed_same_readings(spring_week):
    """Bit by bit, silence included; another seed gives others."""
    traces = run(spring_week, [FrameSpec()], 0.0, 0.0)
    fault = Fault(kind="silent", from_s=int(traces.time_s[100]), until_s=int(traces.time_s[900]), share=0.5)
    probes = [
        SimulatedProbe.draw(1, id="a", box="north", place="air"),
        SimulatedProbe(id="b", box="outside", place="soil", faults=(fault,)),
    ]
    raw = _raw(_rack(*probes), traces)
    np.testing.assert_array_equal(raw, _raw(_rack(*probes), traces))
    assert 0.4 < np.isnan(raw[100:900, 1]).mean() < 0.6
    assert not np.array_equal(raw, _raw(_rack(*probes, seed=2), traces), equal_nan=True)


def test_a_place_without_heat_is_refused():
    """Only air and soil are simulated."""
    with pytest.raises(ValueError, match="humidity"):
        _rack(_plain(place="humidity"))
