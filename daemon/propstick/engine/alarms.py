"""The life of an alarm as one table: state and input to the next state.

After IEC 62682 / ISA-18.2. The condition itself (above its setpoint for the on-delay, back past the
deadband for the off-delay) comes from outside as the inputs RAISE and RETURN; here is only what they
do in each state:

    normal           the condition does not hold
    unacknowledged   it holds, nobody has said so
    acknowledged     it holds, somebody knows
    returned         it held, nobody has looked; only kinds that are latched get here
    shelved          a person wants to hear nothing of it until a time they named
    suppressed       by design: another alarm, an open lid or an empty box makes it pointless
    out-of-service   the box is taken out of service

The last three hide whatever the condition does. What they hide comes out as it is by then: the inputs
that end them come in two forms, `…_IN_ALARM` and `…_CLEAR`. Out of service goes before shelved, shelved
before suppressed. Asking twice changes nothing; a pair that is not in the table is a fault in the engine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from propstick.records import AlarmEvent, AlarmState


class Input(Enum):
    """What can happen to an alarm."""

    RAISE = "raise"
    RETURN = "return"
    RETURN_LATCHED = "return, a person must look"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE_IN_ALARM = "unshelve, still in alarm"
    UNSHELVE_CLEAR = "unshelve, condition gone"
    SUPPRESS = "suppress by design"
    UNSUPPRESS_IN_ALARM = "suppression over, still in alarm"
    UNSUPPRESS_CLEAR = "suppression over, condition gone"
    REMOVE = "take out of service"
    RESTORE_IN_ALARM = "put back in service, still in alarm"
    RESTORE_CLEAR = "put back in service, condition gone"


@dataclass(frozen=True)
class Step:
    """The next state, and the event to be recorded; None where nothing is to be told."""

    state: AlarmState
    event: AlarmEvent | None = None


_NORMAL, _UNACK, _ACKED, _RETURNED = "normal", "unacknowledged", "acknowledged", "returned"
_SHELVED, _SUPPRESSED, _OUT = "shelved", "suppressed", "out-of-service"
_I = Input

TABLE: Mapping[tuple[AlarmState, Input], Step] = {
    (_NORMAL, _I.RAISE): Step(_UNACK, "raised"),
    (_NORMAL, _I.SUPPRESS): Step(_SUPPRESSED),
    (_NORMAL, _I.REMOVE): Step(_OUT),
    # It holds and nobody has said so.
    (_UNACK, _I.ACKNOWLEDGE): Step(_ACKED, "acknowledged"),
    (_UNACK, _I.RETURN): Step(_NORMAL, "returned"),
    (_UNACK, _I.RETURN_LATCHED): Step(_RETURNED, "returned"),
    (_UNACK, _I.SHELVE): Step(_SHELVED, "shelved"),
    (_UNACK, _I.SUPPRESS): Step(_SUPPRESSED, "suppressed"),
    (_UNACK, _I.REMOVE): Step(_OUT, "out-of-service"),
    # It holds and somebody knows: when it ends there is nothing left to look at.
    (_ACKED, _I.ACKNOWLEDGE): Step(_ACKED),
    (_ACKED, _I.RETURN): Step(_NORMAL, "returned"),
    (_ACKED, _I.RETURN_LATCHED): Step(_NORMAL, "returned"),
    (_ACKED, _I.SHELVE): Step(_SHELVED, "shelved"),
    (_ACKED, _I.SUPPRESS): Step(_SUPPRESSED, "suppressed"),
    (_ACKED, _I.REMOVE): Step(_OUT, "out-of-service"),
    # It is over, but somebody must look.
    (_RETURNED, _I.RAISE): Step(_UNACK, "raised"),
    (_RETURNED, _I.ACKNOWLEDGE): Step(_NORMAL, "acknowledged"),
    (_RETURNED, _I.SHELVE): Step(_SHELVED, "shelved"),
    (_RETURNED, _I.SUPPRESS): Step(_RETURNED),
    (_RETURNED, _I.REMOVE): Step(_OUT, "out-of-service"),
    # A person put it aside.
    (_SHELVED, _I.RAISE): Step(_SHELVED, "updated"),
    (_SHELVED, _I.RETURN): Step(_SHELVED, "updated"),
    (_SHELVED, _I.RETURN_LATCHED): Step(_SHELVED, "updated"),
    (_SHELVED, _I.ACKNOWLEDGE): Step(_SHELVED),
    (_SHELVED, _I.SHELVE): Step(_SHELVED, "shelved"),
    (_SHELVED, _I.UNSHELVE_IN_ALARM): Step(_UNACK, "unshelved"),
    (_SHELVED, _I.UNSHELVE_CLEAR): Step(_NORMAL, "unshelved"),
    (_SHELVED, _I.SUPPRESS): Step(_SHELVED),
    (_SHELVED, _I.REMOVE): Step(_OUT, "out-of-service"),
    # Pointless for now. What was raised before and ends meanwhile is recorded; nothing new is.
    (_SUPPRESSED, _I.RAISE): Step(_SUPPRESSED),
    (_SUPPRESSED, _I.RETURN): Step(_NORMAL, "returned"),
    (_SUPPRESSED, _I.RETURN_LATCHED): Step(_NORMAL, "returned"),
    (_SUPPRESSED, _I.ACKNOWLEDGE): Step(_SUPPRESSED),
    (_SUPPRESSED, _I.SHELVE): Step(_SHELVED, "shelved"),
    (_SUPPRESSED, _I.SUPPRESS): Step(_SUPPRESSED),
    (_SUPPRESSED, _I.UNSUPPRESS_IN_ALARM): Step(_UNACK, "unsuppressed"),
    (_SUPPRESSED, _I.UNSUPPRESS_CLEAR): Step(_NORMAL),
    (_SUPPRESSED, _I.REMOVE): Step(_OUT, "out-of-service"),
    # The box is out of service.
    (_OUT, _I.RAISE): Step(_OUT),
    (_OUT, _I.RETURN): Step(_OUT, "returned"),
    (_OUT, _I.RETURN_LATCHED): Step(_OUT, "returned"),
    (_OUT, _I.ACKNOWLEDGE): Step(_OUT),
    (_OUT, _I.SHELVE): Step(_OUT),
    (_OUT, _I.SUPPRESS): Step(_OUT),
    (_OUT, _I.REMOVE): Step(_OUT),
    (_OUT, _I.RESTORE_IN_ALARM): Step(_UNACK, "in-service"),
    (_OUT, _I.RESTORE_CLEAR): Step(_NORMAL, "in-service"),
}


def step(state: AlarmState, given: Input) -> Step:
    """What an input does in a state.

    Raises:
        AssertionError: the pair has no place in an alarm's life; names both.
    """
    found = TABLE.get((state, given))
    if found is None:
        raise AssertionError(f"alarm in state {state!r}: nothing is laid down for {given.value!r}")
    return found
