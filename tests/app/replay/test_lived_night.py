"""Alarm objects back into records."""

import pytest

from propstick.app.replay.lived_night import alarm_of
from propstick.records import Alarm

ALARM = Alarm(
    id="north.heat.20260412T101500Z", box="north", kind="heat", state="shelved", raised_s=1_775_988_900,
    begun_s=1_775_988_780, place="air", value_c=27.25, limit_c=27.0, peak_c=28.5, peak_s=1_775_989_000,
    shelved_until_s=1_776_000_000, eta_s=1_775_990_000, lead_minutes=12.5, outcome="open", message="m",
)  # fmt: skip


@pytest.mark.parametrize(
    "alarm", [ALARM, Alarm(id="a", box="b", kind="frost", state="normal", raised_s=1, begun_s=0)]
)
def test_an_alarm_comes_back_as_it_was(alarm):
    """Every field, through the object of the contract."""
    assert alarm_of(alarm.to_json()) == alarm
