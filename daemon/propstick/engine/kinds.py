"""The alarm kinds: what each is about, how it is told, what silences it. One line to add a kind.

Beside a line here a kind needs a condition (`rules`, or `foresight` for what is forecast) and its words
(`wording`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from propstick.records import AlarmKind

Hand = Literal["open", "close", "look"]
"""What the person's hand has to do; alarms that need the same hand make one notice."""
Telling = Literal["push", "brief"]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What is fixed about an alarm kind.

    Attributes:
        sign: +1 where high is bad, -1 where low is.
        latched: A person must look: it stays `returned` until acknowledged.
        wakes: Sent between bed and rising too.
        silenced_by: Kinds of the same box that, while they stand, suppress this one by design.
        foretold_by: Kinds whose notice makes this one's superfluous for the reaction time.
        on_delay_s, off_delay_s: Fixed delays; None: the garden's for thresholds.
        urgency, severity, certainty: CAP 1.2. Nobody's life is at stake, so Moderate at most.
    """

    hand: Hand
    telling: Telling
    sign: int = 1
    latched: bool = False
    wakes: bool = False
    silenced_by: tuple[AlarmKind, ...] = ()
    foretold_by: tuple[AlarmKind, ...] = ()
    on_delay_s: int | None = None
    off_delay_s: int | None = None
    urgency: str = "Immediate"
    severity: str = "Moderate"
    certainty: str = "Observed"


_PROBE = {
    "hand": "look",
    "telling": "brief",
    "latched": True,
    "on_delay_s": 0,
    "urgency": "Unknown",
    "severity": "Minor",
}
_SITE = {"hand": "look", "on_delay_s": 0, "off_delay_s": 0, "urgency": "Unknown", "severity": "Minor"}
_SOIL = {
    "hand": "look",
    "telling": "brief",
    "on_delay_s": 1800,
    "off_delay_s": 1800,
    "urgency": "Expected",
    "severity": "Minor",
}

KINDS: Mapping[AlarmKind, Kind] = {
    "heat": Kind(hand="open", telling="push", foretold_by=("heat-ahead", "fast-rise")),
    "heat-ahead": Kind(
        hand="open", telling="push", on_delay_s=0, off_delay_s=600, urgency="Expected", certainty="Likely"
    ),
    "fast-rise": Kind(
        hand="open",
        telling="push",
        silenced_by=("heat-ahead", "heat"),
        urgency="Expected",
        certainty="Likely",
    ),
    "frost": Kind(hand="close", telling="push", sign=-1, foretold_by=("frost-ahead",)),
    "frost-ahead": Kind(
        hand="close",
        telling="push",
        sign=-1,
        on_delay_s=0,
        off_delay_s=0,
        urgency="Future",
        certainty="Likely",
    ),
    "lid-loose": Kind(
        hand="close",
        telling="push",
        latched=True,
        wakes=True,
        on_delay_s=0,
        off_delay_s=600,
        certainty="Likely",
    ),
    "soil-cold": Kind(sign=-1, **_SOIL),
    "soil-hot": Kind(**_SOIL),
    "dry": Kind(sign=-1, **_SOIL),
    # Three hours: on a still clear night a shut pane is a little colder than the air above it.
    "no-shelter": Kind(
        hand="look",
        telling="brief",
        sign=-1,
        on_delay_s=3 * 3600,
        off_delay_s=1800,
        urgency="Expected",
        severity="Minor",
    ),
    "probe-silent": Kind(**_PROBE, off_delay_s=300),
    "probe-stuck": Kind(**_PROBE, off_delay_s=300),
    "probe-jump": Kind(**_PROBE, off_delay_s=0),
    "probe-disagrees": Kind(**{**_PROBE, "on_delay_s": 3600}, off_delay_s=3600),
    "watch-late": Kind(**_SITE, telling="brief"),
    "clock-unset": Kind(**_SITE, telling="brief"),
    "store-trouble": Kind(**_SITE, telling="push"),
    "push-trouble": Kind(**_SITE, telling="brief"),
}

FORECASTS: frozenset[AlarmKind] = frozenset({"heat-ahead", "frost-ahead", "lid-loose"})
"""Kinds that rest on a model of the box; silent air suppresses them."""

URGENCY_RANK: Mapping[str, int] = {"Unknown": 0, "Past": 1, "Future": 2, "Expected": 3, "Immediate": 4}
"""CAP 1.2 urgency, the more urgent the higher."""
