"""What the engine says of alarms: messages and notices; in the person's unit and clock.

A figure is shown as finely as it is known: measured air to a tenth of a degree Celsius or a whole degree
Fahrenheit, a setpoint as it was set, a time to five minutes where it is a forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import nan

from propstick.garden import OUTSIDE, SITE, Garden
from propstick.records import Alarm
from propstick.times import clock_text
from propstick.units import f_from_c

NOTICE_LENGTH = 160
"""Characters of a notice before any link (design)."""
ETA_GRAIN_S = 300
WIDE_OPEN = 0.9
"""A lid told to be this far up leaves no hand anything to do against heat but to shade."""


class Speech:
    """One person's way of reading figures and times."""

    def __init__(self, garden: Garden) -> None:
        self._zone = garden.site.zone
        self._unit = garden.site.unit
        self._twelve = garden.twelve_hour
        self._sign = garden.decimal_sign
        self._loose = {probe.id: probe.spot for probe in garden.probes if probe.spot is not None}

    def probe(self, alarm: Alarm) -> str:
        """The probe an alarm is about: `the air probe in north`, `the loose probe on lane`."""
        spot = self._loose.get(alarm.probe or "")
        return probe_name(alarm.box, alarm.place) if spot is None else f"the loose probe on {spot}"

    @property
    def unit(self) -> str:
        """`°C` or `°F`."""
        return f"°{self._unit}"

    def figure(self, air_c: float) -> str:
        """A measured temperature without its unit: `28.4`, `83`."""
        if self._unit == "F":
            return f"{round(f_from_c(air_c)):d}"
        return f"{air_c:.1f}".replace("-0.0", "0.0").replace("-", "−").replace(".", self._sign)

    def measured(self, air_c: float) -> str:
        """A measured temperature: `28.4 °C`."""
        return f"{self.figure(air_c)} °{self._unit}"

    def rough(self, air_c: float) -> str:
        """A forecast of air, to a whole degree: it is not known better."""
        shown_c = air_c if self.unit == "°C" else f_from_c(air_c)
        return f"{shown_c:.0f} {self.unit}".replace("-0 ", "0 ").replace("-", "−")

    def limit(self, limit_c: float) -> str:
        """A setpoint as it was set: `27 °C`, `1.5 °C`, `80 °F`."""
        shown = f"{f_from_c(limit_c):.0f}" if self._unit == "F" else f"{round(limit_c, 1):g}"
        return f"{shown} {self.unit}".replace("-", "−").replace(".", self._sign)

    def shown(self, air_c: float, digits: int = 0) -> float:
        """The figure of a temperature in the person's unit."""
        return round(air_c if self._unit == "C" else f_from_c(air_c), digits)

    def is_level(self, air_c: float, limit_c: float) -> bool:
        """Whether air and limit, as they are shown, are the same figure."""
        if self._unit == "F":
            return f"{f_from_c(air_c):.0f}" == f"{f_from_c(limit_c):.0f}"
        return round(air_c, 1) == round(limit_c, 1)

    def beyond(self, word: str, air_c: float | None, limit_c: float | None) -> str:
        """`over 27 °C`, and `just over 27 °C` where the figures shown do not tell air from limit."""
        limit_c = limit_c or 0.0
        just = "just " if air_c is not None and self.is_level(air_c, limit_c) else ""
        return f"{just}{word} {self.limit(limit_c)}"

    def difference(self, change_c: float) -> str:
        """A difference: `9 °C`."""
        return f"{abs(change_c) * (1.8 if self._unit == 'F' else 1.0):.0f} °{self._unit}"

    def clock(self, time_s: float) -> str:
        """A time of day: `11:40`, `11:40 am`."""
        return clock_text(time_s, self._zone, twelve_hour=self._twelve)

    def by(self, eta_s: float) -> str:
        """A forecast time, rounded down to five minutes: who is early is not sorry."""
        return self.clock(eta_s // ETA_GRAIN_S * ETA_GRAIN_S)


def listed(words: Sequence[str]) -> str:
    """`north`, `north and lane`, `north, lane and south`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def place_name(box: str, place: str | None) -> str:
    """Where a probe sits, as a person says it."""
    where = {OUTSIDE: "outside", SITE: "the garden"}.get(box, box)
    return f"{place} in {where}" if place and box != OUTSIDE else f"{place} {where}" if place else where


def probe_name(box: str, place: str | None) -> str:
    """A probe, as a person says it: `the air probe in north`, `the soil probe outside`."""
    where = {OUTSIDE: "outside", SITE: "in the garden"}.get(box, f"in {box}")
    return f"the {place} probe {where}" if place else f"the probe {where}"


def alarm_message(
    alarm: Alarm, speech: Speech, *, detail: str = "", lid: float = nan, cover: float = nan
) -> str:
    """What is the matter and what is left to do, in one sentence.

    Args:
        detail: What only the reporter of a trouble knows.
        lid, cover: As they are known, 0 to 1; NaN: not.
    """
    value = "" if alarm.value_c is None else speech.measured(alarm.value_c)
    limit = "" if alarm.limit_c is None else speech.limit(alarm.limit_c)
    eta = "" if alarm.eta_s is None else speech.by(alarm.eta_s)
    probe = f" ({alarm.probe})" if alarm.probe else ""
    where = speech.probe(alarm)
    over, under = (speech.beyond(word, alarm.value_c, alarm.limit_c) for word in ("over", "under"))
    box = alarm.box
    against_heat = "shade" if lid >= WIDE_OPEN else "open"
    said = {
        "heat": f"{box} is at {value}, {over}: {against_heat} it.",
        "heat-ahead": f"{box} will pass {limit} at about {eta} (now {value}): {against_heat} it before.",
        "fast-rise": f"{box} warms fast, now {value}: open it before it passes {limit}.",
        "frost": f"{box} is at {value}, {under}: {_against_frost(lid, cover)}.",
        "frost-ahead": f"{box} may fall below {limit} tonight, about {value} expected: "
        f"{_against_frost(lid, cover)}.",
        "lid-loose": f"{box} has stopped holding heat: see whether its lid is open or blown off.",
        "soil-cold": f"the soil in {box} is at {value}, {under}: seed waits for warmth.",
        "soil-hot": f"the soil in {box} is at {value}, {over}: seed may fail; shade or air it.",
        "dry": f"the soil in {box} is dry by its moisture probe: water it.",
        "no-shelter": f"{box} has long been colder than outside: see whether probe or lid is off.",
        "probe-silent": f"{where} gives no reading{probe}: check its cable or battery.",
        "probe-stuck": f"{where} has not moved from {value} for hours{probe}: check or replace it.",
        "probe-jump": f"{where} gave readings that cannot be{probe}: check its cable and joints.",
        "probe-disagrees": f"the probes of {place_name(alarm.box, alarm.place)} differ too much{probe}: "
        "see which lies in the sun or is wrong.",
        "watch-late": "the watch fell behind: see what else runs on the machine.",
        "clock-unset": "the clock cannot be trusted: let the machine reach a time server.",
        "store-trouble": "the store is in trouble: see whether the disk is full or failing.",
        "push-trouble": "notices cannot be delivered: see the network and the [push] addresses.",
    }[alarm.kind]
    if alarm.kind == "probe-disagrees" and alarm.place is None:
        said = f"{box} hardly warms by day while the outside does: see whether snow or a mat lies on it."
    elif alarm.kind == "probe-disagrees" and alarm.place == "lid":
        said = f"{box}, its lid shown shut, is as cold as outside by night: see to its lid and air probe."
    elif alarm.kind == "probe-disagrees" and alarm.probe and alarm.place == "air":
        said = f"{where} reads as its soil by night{probe}: see whether it was pressed into the bed."
    elif alarm.kind == "probe-disagrees" and alarm.probe:
        said = f"{where} follows the air{probe}: see whether it has come out of the soil."
    return f"{said.removesuffix('.')} ({detail})." if detail else said


def _against_frost(lid: float, cover: float) -> str:
    if lid != 0.0:
        return "close and cover it"
    return "lay more over it" if cover == 1.0 else "cover it"


def as_sentence(alarm: Alarm, message: str) -> str:
    """A message that begins a sentence. The name of a box stays as its owner writes it."""
    return message if message.startswith(alarm.box) else message[:1].upper() + message[1:]


def blind_detail(air_c: float, limit_c: float, speech: Speech) -> str:
    """How a box was last seen that no air probe watches any more."""
    return f"no air probe left there, last {speech.measured(air_c)}, limit {speech.limit(limit_c)}"


def out_of(parts: Sequence[str]) -> str:
    """The first of the wordings that fits into a notice; the last one cut where even it does not."""
    for text in parts:
        if len(text) <= NOTICE_LENGTH:
            return text
    return parts[-1][: NOTICE_LENGTH - 1].rstrip() + "…"


def heat_notice(
    speech: Speech, now: Sequence[Alarm], soon: Sequence[tuple[str, float, float]], *, by_box: dict[str, str]
) -> str:
    """One notice for every lid to be opened.

    Args:
        now: Alarms whose limit is passed, or will be (then with `eta_s`).
        soon: Other boxes on their way there: name, air [°C], time they would pass [UTC s].
        by_box: What to do with a box where opening it is not the thing: `Shade`.
    """
    ahead = [a for a in now if a.eta_s is not None]
    clauses, short = [], []
    for verb in dict.fromkeys(["Open", *by_box.values()]):
        over = [a for a in now if a.eta_s is None and by_box.get(a.box, "Open") == verb]
        if over:
            figures = listed([speech.figure(a.value_c or 0.0) for a in over])
            short.append(f"{verb} {listed([a.box for a in over])} now")
            clauses.append(f"{short[-1]}: {figures} {speech.unit}, {_how_hot(over, speech)}")
    if ahead:
        by = speech.by(min(a.eta_s or 0 for a in ahead))
        figures = listed([speech.figure(a.value_c or 0.0) for a in ahead])
        passing = "will" if len(ahead) == 1 else "both will" if len(ahead) == 2 else "all will"
        short.append(f"Open {listed([a.box for a in ahead])} by {by}")
        clauses.append(f"{short[-1]}: {passing} pass {_limit_of(ahead, speech)} (now {figures})")
    if soon:
        names = listed([name for name, _, _ in soon])
        figures = listed([speech.figure(air_c) for _, air_c, _ in soon])
        by = speech.by(min(eta_s for _, _, eta_s in soon))
        clauses.append(f"{names} by {by} ({figures}, rising)")
        short.append(f"{names} by {by}")
    verb = "Open" if any(by_box.get(a.box, "Open") == "Open" for a in now) else by_box[now[0].box]
    return out_of(["; ".join(clauses), "; ".join(short), f"{verb} {len(now) + len(soon)} boxes now"])


def _how_hot(over: Sequence[Alarm], speech: Speech) -> str:
    if all(a.kind == "fast-rise" for a in over):
        return "rising fast"
    if len({a.limit_c for a in over}) > 1:
        return "over their limits"
    return speech.beyond("over", min(a.value_c or 0.0 for a in over), over[0].limit_c)


def _limit_of(alarms: Sequence[Alarm], speech: Speech) -> str:
    limits = {speech.limit(a.limit_c or 0.0) for a in alarms}
    return limits.pop() if len(limits) == 1 else "their limits"


def frost_notice(speech: Speech, alarms: Sequence[Alarm], *, shut: frozenset[str]) -> str:
    """One notice for every box to be closed or covered. `shut`: lids known to be closed already."""
    verb = "Cover" if all(a.box in shut for a in alarms) else "Close and cover"
    by_box = {a.box: a for a in sorted(alarms, key=lambda a: a.kind == "frost")}  # what is beats what will be
    alarms = list(by_box.values())
    names = listed(list(by_box))
    figures = listed([speech.figure(a.value_c or 0.0) for a in alarms])
    limit, unit = _limit_of(alarms, speech), speech.unit
    if any(a.kind == "frost-ahead" for a in alarms):
        sure = all(is_surely_below(speech, a.value_c, a.limit_c) for a in alarms)
        falling = "will fall below" if sure else "may fall below"
        long = f"{verb} {names} for the night: {falling} {limit} (about {figures} {unit} expected)"
    elif limit == "their limits":
        long = f"{verb} {names} now: {figures} {unit}, under their limits"
    else:
        under = speech.beyond("under", max(a.value_c or 0.0 for a in alarms), alarms[0].limit_c)
        long = f"{verb} {names} now: {figures} {unit}, {under}"
    return out_of([long, f"{verb} {names} now", f"{verb} {len(alarms)} boxes now"])


def is_surely_below(speech: Speech, value_c: float | None, limit_c: float | None) -> bool:
    """Whether what is expected lies below the limit, to the figure that is shown."""
    value_c, limit_c = value_c or 0.0, limit_c or 0.0
    return value_c < limit_c and not speech.is_level(value_c, limit_c)


def look_notice(alarms: Sequence[Alarm]) -> str:
    """A notice of something to be seen to."""
    said = [as_sentence(a, a.message) for a in alarms]
    more = "" if len(said) == 1 else f" And {len(said) - 1} more to see to."
    return out_of([" ".join(said), said[0] + more, said[0]])


def return_notice(speech: Speech, alarm: Alarm) -> str:
    """That something told of is over."""
    return out_of([f"{alarm.box}: {alarm.kind} is over at {speech.clock(alarm.returned_s or 0)}"])


def again(text: str, minutes: float) -> str:
    """A notice told once more because nobody answered."""
    return out_of([f"Still, after {minutes:.0f} min: {text[0].lower()}{text[1:]}", text])
