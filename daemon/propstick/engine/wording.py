"""Every sentence the engine says: alarm messages, notices, briefs; in the person's unit and clock.

A figure is shown as finely as it is known: measured air to a tenth of a degree Celsius or a whole degree
Fahrenheit, a setpoint as it was set, a time to five minutes where it is a forecast.
"""

from __future__ import annotations

from collections.abc import Sequence

from propstick.engine.advice import Choice
from propstick.garden import OUTSIDE, SITE, Garden
from propstick.records import Alarm, BriefLine
from propstick.times import local
from propstick.units import f_from_c

NOTICE_LENGTH = 160
"""Characters of a notice before any link (design)."""
ETA_GRAIN_S = 300


class Speech:
    """One person's way of reading figures and times."""

    def __init__(self, garden: Garden) -> None:
        self._zone = garden.site.zone
        self._unit = garden.site.unit
        chosen = garden.notices.twelve_hour
        self._twelve = (garden.site.unit == "F") if chosen is None else chosen

    @property
    def unit(self) -> str:
        """`°C` or `°F`."""
        return f"°{self._unit}"

    def figure(self, air_c: float) -> str:
        """A measured temperature without its unit: `28.4`, `83`."""
        if self._unit == "F":
            return f"{round(f_from_c(air_c)):d}"
        return f"{air_c:.1f}".replace("-0.0", "0.0").replace("-", "−")

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
        return f"{shown} {self.unit}".replace("-", "−")

    def difference(self, change_c: float) -> str:
        """A difference: `9 °C`."""
        return f"{abs(change_c) * (1.8 if self._unit == 'F' else 1.0):.0f} °{self._unit}"

    def clock(self, time_s: float) -> str:
        """A time of day: `11:40`, `11:40 am`."""
        at = local(time_s, self._zone)
        if not self._twelve:
            return f"{at:%H:%M}"
        return f"{at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"

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


def alarm_message(alarm: Alarm, speech: Speech, *, detail: str = "", remedy: str = "") -> str:
    """What is the matter and what to do, in one sentence."""
    value = "" if alarm.value_c is None else speech.measured(alarm.value_c)
    limit = "" if alarm.limit_c is None else speech.limit(alarm.limit_c)
    eta = "" if alarm.eta_s is None else speech.by(alarm.eta_s)
    probe = f"probe {alarm.probe}" if alarm.probe else "the probes"
    where = place_name(alarm.box, alarm.place)
    box = alarm.box
    said = {
        "heat": f"{box} is at {value}, over {limit}: {remedy or 'open it'}.",
        "heat-ahead": f"{box} will pass {limit} at about {eta} (now {value}): {remedy or 'open it before'}.",
        "fast-rise": f"{box} warms fast, now {value}: open it before it passes {limit}.",
        "frost": f"{box} is at {value}, under {limit}: {remedy or 'close and cover it'}.",
        "frost-ahead": f"{box} may pass {limit} tonight, about {value} expected: {remedy or 'cover it'}.",
        "lid-loose": f"{box} has stopped holding heat: see whether its lid is open or blown off.",
        "soil-cold": f"the soil in {box} is at {value}, under {limit}: seed waits; keep the lid shut.",
        "soil-hot": f"the soil in {box} is at {value}, over {limit}: seed may fail; shade or air it.",
        "no-shelter": f"{box} has long been colder than outside: see whether probe or lid is off.",
        "probe-silent": f"{probe} ({where}) gives no reading: check its cable or battery.",
        "probe-stuck": f"{probe} ({where}) has not moved from {value} for hours: check or replace it.",
        "probe-jump": f"{probe} ({where}) gave readings that cannot be: check its cable and joints.",
        "probe-disagrees": f"{probe} ({where}) differ too much: see which lies in the sun or is wrong.",
        "watch-late": "the watch fell behind: see what else runs on the machine.",
        "clock-unset": "the clock cannot be trusted: let the machine reach a time server.",
        "store-trouble": "readings cannot be stored: see whether the disk is full or failing.",
        "push-trouble": "notices cannot be delivered: see the network and the [push] addresses.",
    }[alarm.kind]
    if alarm.kind == "probe-disagrees" and alarm.probe:
        said = f"{probe} ({where}) follows the air: see whether it has come out of the soil."
    return f"{said} ({detail})" if detail else said


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
        by_box: What to do with a box where opening it is not the thing: `shade`.
    """
    ahead = [a for a in now if a.eta_s is not None]
    over = [a for a in now if a.eta_s is None]
    clauses, short = [], []
    if over:
        names, figures = (
            listed([a.box for a in over]),
            listed([speech.figure(a.value_c or 0.0) for a in over]),
        )
        verb = by_box.get(over[0].box, "Open")
        what = (
            "rising fast"
            if all(a.kind == "fast-rise" for a in over)
            else f"over {speech.limit(over[0].limit_c or 0.0)}"
        )
        clauses.append(f"{verb} {names} now: {figures} {speech.unit}, {what}")
        short.append(f"{verb} {names} now")
    if ahead:
        by = speech.by(min(a.eta_s or 0 for a in ahead))
        names, figures = (
            listed([a.box for a in ahead]),
            listed([speech.figure(a.value_c or 0.0) for a in ahead]),
        )
        passing = "will" if len(ahead) == 1 else "both will" if len(ahead) == 2 else "all will"
        clauses.append(
            f"Open {names} by {by}: {passing} pass {speech.limit(ahead[0].limit_c or 0.0)} (now {figures})"
        )
        short.append(f"Open {names} by {by}")
    if soon:
        names = listed([name for name, _, _ in soon])
        figures = listed([speech.figure(air_c) for _, air_c, _ in soon])
        by = speech.by(min(eta_s for _, _, eta_s in soon))
        clauses.append(f"{names} by {by} ({figures}, rising)")
        short.append(f"{names} by {by}")
    return out_of(["; ".join(clauses), "; ".join(short), f"Open {len(now) + len(soon)} boxes now"])


def frost_notice(speech: Speech, alarms: Sequence[Alarm], *, shut: frozenset[str]) -> str:
    """One notice for every box to be closed or covered. `shut`: lids known to be closed already."""
    verb = "Cover" if all(a.box in shut for a in alarms) else "Close and cover"
    by_box = {a.box: a for a in sorted(alarms, key=lambda a: a.kind == "frost")}  # what is beats what will be
    alarms = list(by_box.values())
    names = listed(list(by_box))
    figures = listed([speech.figure(a.value_c or 0.0) for a in alarms])
    limits = {speech.limit(a.limit_c or 0.0) for a in alarms}
    unit = speech.unit
    if any(a.kind == "frost-ahead" for a in alarms):
        limit = limits.pop() if len(limits) == 1 else "their limits"
        sure = all((a.value_c or 0.0) < (a.limit_c or 0.0) for a in alarms)
        passing = "will pass" if sure else "may pass"
        long = f"{verb} {names} for the night: {passing} {limit} (about {figures} {unit} expected)"
    else:
        limit = f"under {limits.pop()}" if len(limits) == 1 else "under their limits"
        long = f"{verb} {names} now: {figures} {unit}, {limit}"
    return out_of([long, f"{verb} {names} now", f"{verb} {len(alarms)} boxes now"])


def look_notice(alarms: Sequence[Alarm]) -> str:
    """A notice of something to be seen to."""
    return out_of([" ".join(a.message for a in alarms), alarms[0].message])


def return_notice(speech: Speech, alarm: Alarm) -> str:
    """That something told of is over."""
    return out_of([f"{alarm.box}: {alarm.kind} is over at {speech.clock(alarm.returned_s or 0)}"])


def again(text: str, minutes: float) -> str:
    """A notice told once more because nobody answered."""
    return out_of([f"Still, after {minutes:.0f} min: {text[0].lower()}{text[1:]}", text])


ADVICE_WORDS = {
    "open": "Open",
    "prop": "Prop",
    "close": "Close",
    "cover": "Close and cover",
    "uncover": "Uncover",
    "air": "Air",
}


def brief_text(which: str, lines: Sequence[BriefLine], troubles: Sequence[str], speech: Speech) -> str:
    """A brief as one message: what to do first, then what to know."""
    said: list[str] = []
    for advice, word in ADVICE_WORDS.items():
        chosen = [line for line in lines if line.advice == advice]
        for reason, by_s in dict.fromkeys((line.reason, line.by_s) for line in chosen):
            names = listed([line.box for line in chosen if (line.reason, line.by_s) == (reason, by_s)])
            by = "" if by_s is None else f" by {speech.by(by_s)}"
            said.append(f"{word} {names}{by}: {reason}.")
    left = [line.box for line in lines if line.advice == "leave"]
    if not said:
        said.append("Nothing to do" + (f": leave {listed(left)} as they are." if len(left) > 1 else "."))
    elif left:
        said.append(f"Leave {listed(left)}.")
    known = dict.fromkeys(text[0].upper() + text[1:] for text in troubles if text)
    return " ".join([f"{which.capitalize()}:", *said, *known])


def advice_reason(choice: Choice, speech: Speech) -> str:
    """Why, in one clause."""

    def about(value_c: float | None) -> str:
        return "" if value_c is None else f"{speech.rough(value_c)}"

    value, limit = about(choice.value_c), "" if choice.limit_c is None else speech.limit(choice.limit_c)
    left = about(choice.remedy_c)
    if choice.because in ("heat", "warm"):
        word = "sun would take it to" if choice.because == "heat" else "it may reach"
        if choice.advice == "leave":
            return f"it stands right: shut, {word} about {value}"
        opened = {"open": "open", "prop": "propped"}.get(choice.advice, "so")
        return f"shut, {word} about {value}" + (f", {opened} {left}" if left else "")
    if choice.because == "arm":
        return f"its arm opens it at {limit} by itself"
    if choice.because == "frost":
        if choice.advice == "leave":
            return f"about {value} tonight, under {limit}, and it is as snug as it gets"
        done = {"cover": "covered", "close": "shut"}.get(choice.advice, "so")
        return f"about {value} tonight, limit {limit}" + (f"; {done} about {left}" if left else "")
    if choice.because == "chill":
        return f"about {value} as it is, shut about {left}" if left else f"about {value} tonight"
    return {
        "cool-day": f"it will not pass about {value} shut",
        "damp": "it has been damp for two days and it is mild outside",
        "sun-again": "it is covered and the day needs its light",
        "calm": f"about {value}, within its limits" if value else "within its limits",
        "unknown": "no forecast yet",
    }[choice.because]
