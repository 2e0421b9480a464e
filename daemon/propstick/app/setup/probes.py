"""Which probe is which: each place is named, and the probe that belongs there is warmed in the hand."""

from __future__ import annotations

from collections.abc import Sequence

from propstick.app.in_hand import find
from propstick.app.setup.talk import Talk
from propstick.app.setup.understood import NOTHING
from propstick.app.sightings import read_buses
from propstick.errors import ProbeError
from propstick.garden import OUTSIDE
from propstick.ports import Clock, ProbeBus
from propstick.records import Reading

WARM, SKIP, DONE = "", "skip", "done"


class _Unnamed:
    """A bus less the probes that have their place: one that cools from the hand moves too."""

    def __init__(self, bus: ProbeBus, named: set[str]) -> None:
        self.name = bus.name
        self._bus = bus
        self._named = named

    def probes(self) -> tuple[str, ...]:
        return tuple(probe for probe in self._bus.probes() if probe not in self._named)

    def read(self, row_s: int) -> tuple[Reading, ...]:
        return tuple(reading for reading in self._bus.read(row_s) if reading.probe not in self._named)

    def trouble(self) -> str:
        return self._bus.trouble()


def name_probes(
    talk: Talk, buses: Sequence[ProbeBus], clock: Clock, boxes: Sequence[str]
) -> tuple[tuple[str, str, str], ...]:
    """(id, box, place) of every probe that was found, in the order of the places."""
    named: set[str] = set()
    rest = [_Unnamed(bus, named) for bus in buses]
    readings, _ = read_buses(rest, int(clock.wall_s()))
    count = len({reading.probe for reading in readings})
    if not count:
        talk.say(_why_none(buses))
        return ()
    answer = "1 probe answers" if count == 1 else f"{count} probes answer"
    talk.say(
        f"{answer}. For each place press Enter, then hold its probe tightly in a warm hand.\n"
        "Or type its id; `skip` leaves the place empty, `done` ends."
    )
    found: list[tuple[str, str, str]] = []
    for box, place in _places(boxes):
        if len(named) == count:
            break
        probe = _probe_of(f"{place} in {box}" if box != OUTSIDE else f"{place} outside", talk, rest, clock)
        if probe == DONE:
            break
        if probe != SKIP:
            named.add(probe)
            found.append((probe, box, place))
    if left := count - len(named):
        have = "1 probe has" if left == 1 else f"{left} probes have"
        talk.say(f"{have} no place yet: propstick probes list shows them.")
    return tuple(found)


def _why_none(buses: Sequence[ProbeBus]) -> str:
    """No probe answers: whether the wire is to blame, or there is no bus at all."""
    if not buses:
        return (
            "No probe answers: this machine has no 1-wire bus. On a Pi deploy/install switches it on,\n"
            "from the next start on (sudo reboot). Go on without; probes can be named later."
        )
    return (
        "No probe answers on the wire: look at plug, supply wire and pull-up (hardware/README.md).\n"
        "Go on without; probes can be named later."
    )


def _places(boxes: Sequence[str]) -> list[tuple[str, str]]:
    """What every garden wants first: the air of each box, then outside; soil after that."""
    where = [*boxes, OUTSIDE]
    return [(box, place) for place in ("air", "soil") for box in where]


def _probe_of(name: str, talk: Talk, buses: Sequence[_Unnamed], clock: Clock) -> str:
    """The id of the probe for a place, or `skip` or `done`."""
    while True:
        typed = talk.ask(f"{name}:", lambda text: text.lower(), default=WARM)
        if typed in NOTHING:
            typed = SKIP
        if typed in (SKIP, DONE):
            return typed
        known = {probe for bus in buses for probe in bus.probes()}
        if typed in known:
            return typed
        if typed:
            talk.say(f"No probe {typed} without a place: {', '.join(sorted(known))}")
            continue
        try:
            talk.say("Leave all probes alone for a few seconds ...")
            return find(buses, clock, tell=talk.say)
        except ProbeError as error:
            talk.say(f"{error.message}. Once more, or skip.")
