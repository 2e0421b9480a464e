"""The alarm state table against the state model of ISA-18.2 / IEC 62682."""

import itertools
from typing import get_args

import pytest

from propstick.engine.alarms import TABLE, Input, step
from propstick.engine.kinds import KINDS, URGENCY_RANK
from propstick.records import AlarmKind, AlarmState

# ISA-18.2 state model, as the states are named in design and OPC UA Part 9 (condition classes and
# §4.8): A normal, B unacknowledged, C acknowledged, D returned unacknowledged, then the three hidden
# ones: shelved, suppressed by design, out of service.
MODEL = [
    ("normal", Input.RAISE, "unacknowledged"),
    ("unacknowledged", Input.ACKNOWLEDGE, "acknowledged"),
    ("acknowledged", Input.RETURN, "normal"),
    ("unacknowledged", Input.RETURN_LATCHED, "returned"),
    ("returned", Input.ACKNOWLEDGE, "normal"),
    ("returned", Input.RAISE, "unacknowledged"),
    ("unacknowledged", Input.SHELVE, "shelved"),
    ("acknowledged", Input.SHELVE, "shelved"),
    ("returned", Input.SHELVE, "shelved"),
    ("shelved", Input.UNSHELVE_IN_ALARM, "unacknowledged"),
    ("shelved", Input.UNSHELVE_CLEAR, "normal"),
    ("normal", Input.SUPPRESS, "suppressed"),
    ("unacknowledged", Input.SUPPRESS, "suppressed"),
    ("suppressed", Input.UNSUPPRESS_IN_ALARM, "unacknowledged"),
    ("suppressed", Input.UNSUPPRESS_CLEAR, "normal"),
    ("normal", Input.REMOVE, "out-of-service"),
    ("shelved", Input.REMOVE, "out-of-service"),
    ("suppressed", Input.REMOVE, "out-of-service"),
    ("out-of-service", Input.RESTORE_IN_ALARM, "unacknowledged"),
    ("out-of-service", Input.RESTORE_CLEAR, "normal"),
]


@pytest.mark.parametrize(("state", "given", "then"), MODEL)
def test_table_follows_the_state_model(state, given, then):
    """Every transition of the ISA-18.2 model is in the table."""
    assert step(state, given).state == then


def test_a_threshold_alarm_returns_silently():
    """Unacknowledged and not latched: back to normal without anybody's hand."""
    assert step("unacknowledged", Input.RETURN).state == "normal"


def test_hidden_states_do_not_let_an_alarm_through():
    """Shelved, suppressed and out of service: whatever the condition does, nobody is alarmed."""
    for state, given in itertools.product(
        ("shelved", "suppressed", "out-of-service"), (Input.RAISE, Input.RETURN)
    ):
        assert step(state, given).state in (state, "normal")
        assert step(state, given).event != "raised"


def test_a_pair_outside_the_table_raises_naming_both():
    """A broken promise inside the engine is not passed over."""
    with pytest.raises(AssertionError, match=r"'normal'.*acknowledge"):
        step("normal", Input.ACKNOWLEDGE)


def test_every_state_can_be_reached_and_left():
    """No state is a trap, none is out of reach."""
    states = set(get_args(AlarmState))
    assert {s.state for s in TABLE.values()} == states
    assert {state for state, _ in TABLE} == states
    for start in states:
        reached, waiting = {start}, [start]
        while waiting:
            at = waiting.pop()
            for (state, _), found in TABLE.items():
                if state == at and found.state not in reached:
                    reached.add(found.state)
                    waiting.append(found.state)
        assert reached == states


def test_every_kind_has_its_line_with_words_of_cap():
    """Urgency, severity and certainty are of the code lists of CAP 1.2 (OASIS 2010, §3.2.2)."""
    assert set(KINDS) == set(get_args(AlarmKind))
    assert set(URGENCY_RANK) == {"Immediate", "Expected", "Future", "Past", "Unknown"}
    for kind in KINDS.values():
        assert kind.urgency in URGENCY_RANK
        assert kind.severity in ("Moderate", "Minor")
        assert kind.certainty in {"Observed", "Likely", "Possible", "Unlikely", "Unknown"}
