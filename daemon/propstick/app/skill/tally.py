"""What became of warnings: those that came, those withdrawn, and what nothing had warned of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from propstick.records import Alarm


@dataclass(frozen=True, kw_only=True)
class Tally:
    """Forecasting alarms that came true and that were withdrawn; heat and frost nothing had foretold."""

    warned: int
    came: int
    withdrawn: int
    unannounced: int


def tally(alarms: Sequence[Alarm], *, kinds: Sequence[str] = ("heat", "frost")) -> Tally:
    """Counts over some alarms, of these kinds and of the warnings of them."""
    ahead = [alarm for alarm in alarms if alarm.kind in [f"{kind}-ahead" for kind in kinds]]
    met = [alarm for alarm in alarms if alarm.kind in kinds]
    return Tally(
        warned=len(ahead),
        came=sum(alarm.outcome == "came" for alarm in ahead),
        withdrawn=sum(alarm.outcome == "withdrawn" for alarm in ahead),
        unannounced=sum(not _was_foretold(alarm, ahead) for alarm in met),
    )


def _was_foretold(alarm: Alarm, ahead: Sequence[Alarm]) -> bool:
    """Whether a warning of it stood as it began."""
    return any(
        one.kind == f"{alarm.kind}-ahead"
        and one.box == alarm.box
        and one.raised_s <= alarm.begun_s
        and (one.returned_s is None or one.returned_s >= alarm.begun_s)
        for one in ahead
    )
