"""The place forecasts take among the alarms: what they suppress, foretell and are withdrawn for."""

import numpy as np
import pytest

from propstick.engine import foresight
from propstick.engine.conditions import ALARM, CLEAR, Condition, Subject
from propstick.engine.outlook import Outlook
from propstick.records import BriefLine

MONDAY_S = 1_772_409_600
NOON_S = MONDAY_S + 12 * 3600


def noise(values):
    return [v + 0.06 * (k % 3) for k, v in enumerate(values)]


def ahead(kind, first, last, n, *, eta_minute, value_c, limit_c):
    """A forecast that stands from one row to another, made sure of by its own persistence."""
    rows = np.arange(n)
    codes = np.where((rows >= first) & (rows < last), ALARM, CLEAR).astype(np.int8)[:, None]
    eta = np.full((n, 1), NOON_S + 60.0 * eta_minute)
    return Condition(
        kind=kind,
        subjects=(Subject("north", "air"),),
        codes=codes,
        known=np.ones((n, 1), dtype=bool),
        value_c=np.full((n, 1), value_c),
        limit_c=np.array([limit_c]),
        on_delay_s=np.array([0]),
        off_delay_s=np.array([0]),
        eta_s=eta,
        eta_low_s=eta - 300,
        eta_high_s=eta + 600,
        chance=np.full((n, 1), 0.7),
    )


@pytest.fixture
def foreseen(monkeypatch, live):
    """Runs one box with forecasts put in the engine's place for them."""

    def run(air, *conditions, start_s=NOON_S, **outlook):
        monkeypatch.setattr(foresight, "NOTHING", Outlook(conditions=conditions, **outlook))
        return live(air, start_s=start_s)

    return run


def test_heat_ahead_warns_and_its_crossing_proves_it_right(foreseen):
    """Told at minute 10; the crossing begins at 30: lead 20 minutes, outcome `came`; heat itself is not told
    until the reaction time is over, and then only because it still stands."""
    air = noise([22.0] * 30 + [28.0] * 40)
    said = foreseen(air, ahead("heat-ahead", 10, 70, 70, eta_minute=31, value_c=22.1, limit_c=27.0))
    first = said.of("heat-ahead")[0].alarm
    assert (first.raised_s, first.eta_s, first.certainty) == (NOON_S + 600, NOON_S + 1860, "Likely")
    assert (first.urgency, first.outcome) == ("Expected", "open")
    assert said.of("heat-ahead")[-1].alarm.outcome == "came"
    assert said.of("heat")[0].alarm.lead_minutes == 20.0
    assert said.notices[0].text == "Open north by 12:30: will pass 27 °C (now 22.1)"
    assert [n.issued_s - NOON_S for n in said.notices] == [600, 1920]


def test_heat_ahead_withdrawn_is_silent(foreseen):
    """The sky changed: the forecast ends as `withdrawn`, nobody is told a second time."""
    said = foreseen(
        noise([22.0] * 60), ahead("heat-ahead", 10, 30, 60, eta_minute=31, value_c=22.0, limit_c=27.0)
    )
    assert [(c.event, c.alarm.outcome) for c in said.of("heat-ahead")] == [
        ("raised", "open"),
        ("returned", "withdrawn"),
    ]
    assert len(said.notices) == 1


def test_heat_ahead_suppresses_fast_rise(foreseen):
    """One warning of the same thing is enough."""
    rise = [14.0] * 20 + list(np.round(14 + np.arange(20) * 0.6, 2))
    said = foreseen(rise, ahead("heat-ahead", 15, 40, 40, eta_minute=45, value_c=14.0, limit_c=27.0))
    assert said.kinds() == ["heat-ahead"]


def test_silent_air_suppresses_the_forecasts_of_its_box(foreseen):
    """What rests on no reading warns of nothing."""
    said = foreseen(
        [20.0] + [np.nan] * 60, ahead("heat-ahead", 30, 61, 61, eta_minute=90, value_c=20.0, limit_c=27.0)
    )
    assert said.kinds() == ["probe-silent"]


def test_a_night_minimum_said_lets_people_sleep_until_it_is_much_worse(foreseen):
    """-1 °C was said; -1 comes and nobody is woken; -3 does wake."""
    late = MONDAY_S + 22 * 3600
    air = noise([2.0] * 60 + [-0.9] * 120 + [-3.2] * 60)
    said = foreseen(air, start_s=late, said_min_c={0: {"north": -1.0}})
    assert [n.issued_s for n in said.notices] == [late + 180 * 60]


def test_lid_loose_wakes(foreseen):
    """A lid blown off at night is worth getting up for; somebody must look before it is forgotten."""
    late = MONDAY_S + 23 * 3600
    said = foreseen(
        noise([6.0] * 60),
        ahead("lid-loose", 10, 30, 60, eta_minute=0, value_c=6.0, limit_c=np.nan),
        start_s=late,
    )
    assert [n.kinds for n in said.notices] == [("lid-loose",)]
    assert [c.alarm.state for c in said.of("lid-loose")] == ["unacknowledged", "returned"]


def test_a_brief_says_what_was_foreseen(foreseen):
    """Lines of the model take the place of the plain ones."""
    line = BriefLine(
        box="north", advice="open", opening=1.0, reason="34 °C if it stays shut", by_s=MONDAY_S + 9 * 3600
    )
    said = foreseen(noise([8.0] * 60), start_s=MONDAY_S + 7 * 3600, briefs={30: (line,)})
    assert said.briefs[0].text == "Morning: Open north by 09:00: 34 °C if it stays shut."
