"""What is flagged, and what must not be."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.engine.pipeline import begin
from propstick.garden import Probe

NOON_S = 1_772_409_600 + 12 * 3600


def rows_with(said, flag, column=0):
    return np.flatnonzero(said.flags[:, column] & int(flag)).tolist()


def test_corrections_come_before_everything(lone, live):
    """27.2 as sensed is 26.9 after a correction of -0.3: no alarm."""
    corrected = replace(lone, probes=(replace(lone.probes[0], correction_c=-0.3),))
    assert live([27.2] * 10, garden=corrected).kinds() == []
    assert live([27.2] * 10).kinds() == ["heat"]


def test_what_cannot_be_true_is_out_of_range(live):
    """-127 (no probe) and 120 °C are flagged, 58 °C is a scorched box and real."""
    said = live([20.0] * 5 + [-127.0, 120.0] + [20.0] * 5)
    assert rows_with(said, Flag.RANGE) == [5, 6]
    assert rows_with(live(list(np.linspace(20, 58, 60))), Flag.RANGE) == []


def test_a_spike_is_flagged_and_the_probe_said_to_jump(live):
    """Away and back: the one reading is flagged, no alarm rests on it, a person is to look."""
    said = live([20.0, 20.1] * 5 + [45.0] + [20.0, 20.1] * 40)
    assert rows_with(said, Flag.JUMP) == [10]
    assert said.kinds() == ["probe-jump"]
    assert [c.alarm.state for c in said.of("probe-jump")] == ["unacknowledged", "returned"]


def test_a_lid_thrown_open_is_no_fault(live):
    """A fall that the following readings confirm is accepted after the third, and nobody is called."""
    fall = 8 + 32 * np.exp(-np.arange(30) / 1.2)
    said = live([40.0] * 10 + list(np.round(fall, 2)))
    assert len(rows_with(said, Flag.JUMP)) <= 2
    assert "probe-jump" not in said.kinds()


def test_a_new_level_is_believed_after_three_readings(live):
    """A probe moved to another place reads another temperature and goes on reading it."""
    said = live([20.0, 20.1] * 5 + [2.0, 2.1] * 10)
    assert rows_with(said, Flag.JUMP) == [10, 11]
    assert said.now[0].air_c == 2.1


def test_a_probe_that_leaps_about_is_never_believed(live):
    """Each reading far from every other: flagged all along."""
    wild = [20.0, 20.1] * 5 + [50.0, -20.0, 60.0, -5.0, 40.0, 5.0, 55.0, -10.0]
    said = live(wild)
    assert rows_with(said, Flag.JUMP) == list(range(10, 18))
    assert said.kinds()[0] == "probe-jump"


def test_a_real_hour_may_rise_by_what_a_minute_may_not(lone, live):
    """An hourly recording of a glazed box rises 15 °C after sunrise; one hour at 66 outside is a fault."""
    hourly = replace(
        lone,
        probes=(
            replace(lone.probes[0], every_s=3600.0),
            Probe(id="o", box="outside", place="air", every_s=3600.0),
        ),
    )
    air, out = np.full((2, 600), np.nan)
    air[::60] = [4, 19, 31, 36, 30, 20, 12, 9, 8, 7]
    out[::60] = [4, 9, 14, 15, 48, 14, 12, 9, 8, 7]
    said = live(air, garden=hourly, columns={"o": out})
    assert rows_with(said, Flag.JUMP, 0) == []
    assert rows_with(said, Flag.JUMP, 1) == [240]


def test_a_figure_that_rests_through_the_day_is_stuck(live):
    """Six hours of daylight without the least change; flagged from then on, not before."""
    said = live([12.31] * 1000, start_s=NOON_S - 4 * 3600)  # from 8:00, sun up since about 6:45
    rows = rows_with(said, Flag.STUCK)
    assert rows[0] == pytest.approx(360, abs=2)
    assert said.kinds()[0] == "probe-stuck"


@pytest.mark.parametrize("value", [0.0, 0.19, -0.25])
def test_thawing_rests_at_zero_and_is_not_stuck(live, value):
    """Freezing and thawing hold a probe at 0 °C for days."""
    assert "probe-stuck" not in live([value] * 3000).kinds()


def test_a_night_may_rest(live):
    """An overcast night moves less than a probe's sixteenth of a degree: not stuck before the day."""
    assert rows_with(live([5.06] * 720, start_s=NOON_S + 6 * 3600), Flag.STUCK) == []


def test_coarse_steps_are_given_longer(live):
    """A probe that reads whole degrees rests longer than one that reads sixteenths."""
    coarse = [11.0] * 30 + [12.0] * 500
    assert rows_with(live(coarse, start_s=NOON_S - 5 * 3600), Flag.STUCK) == []


def test_soil_rests_for_two_days(lone, live):
    """Soil may stand still for a day and more."""
    garden = replace(lone, probes=(*lone.probes, Probe(id="s", box="north", place="soil")))
    n = 50 * 60
    air = [10 + 0.06 * (k % 4) for k in range(n)]
    rows = rows_with(live(air, garden=garden, columns={"s": [8.5] * n}), Flag.STUCK, 1)
    assert rows[0] == 48 * 60


def test_a_slow_node_is_carried_for_two_of_its_intervals(lone, table, feed):
    """Its value stands for 2 x every_s, then the place is unknown; silent after 3."""
    node = replace(lone, probes=(replace(lone.probes[0], every_s=600.0),))
    air = np.full(60, np.nan)
    air[0] = 14.0
    state = begin(node, foresight=False)
    assert feed(state, [table(NOON_S, 60, {"air": air[:21]})]).now[0].air_c == 14.0
    assert feed(state, [table(NOON_S, 60, {"air": air[:22]})]).now[0].air_c is None
    said = feed(state, [table(NOON_S, 60, {"air": air})])
    assert [(c.alarm.kind, c.time_s) for c in said.changes] == [("probe-silent", NOON_S + 1800)]


def test_the_median_of_three_outvotes_a_liar(lone, live):
    """A place with several probes has the median of the good ones."""
    garden = replace(lone, probes=(*lone.probes, *(Probe(id=i, box="north", place="air") for i in "bc")))
    said = live([20.0, 20.1] * 5, garden=garden, columns={"b": [20.4, 20.5] * 5, "c": [45.0, 45.1] * 5})
    assert said.now[0].air_c == 20.5
