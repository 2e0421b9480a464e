"""A report as a person reads it in a terminal: one sentence, then tables that fit 80 columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from propstick.app.garden_file import sun_doubts
from propstick.app.replay.figures import (
    clock_of,
    day_of,
    degrees_of,
    figure_of,
    moment_of,
    rest_of,
    table_that_fits,
    wrapped,
)
from propstick.app.replay.report import Observed, Report
from propstick.app.skill.words import SHORT, sentences
from propstick.garden import Garden
from propstick.records import Alarm
from propstick.units import shown_difference

_MOST_ALARMS, _MOST_NOTICES, _MOST_NIGHTS = 30, 12, 14
_COLD = frozenset({"frost", "frost-ahead", "soil-cold"})
_WITH_PEAK = _COLD | {"heat", "heat-ahead", "fast-rise", "soil-hot"}
_FLAG_WORDS = {
    "range": "out of the range a probe can read",
    "power-on": "exactly 85 °C after losing power",
    "checksum": "with a bad checksum",
    "jump": "jumped further than air or soil can",
    "stuck": "stood still too long to be true",
    "duplicate": "with a time that probe had already",
    "late": "older than the row before by more than one step",
    "clock": "with a time that cannot be right",
    "not-a-number": "that are no number",
    "stale-conversion": "left over from the reading before",
}


def table_of(report: Report) -> str:
    """The whole text, without a final line end."""
    parts = [
        *wrapped(summary(report)),
        *_stretch(report),
        *_alarms(report),
        *_notices(report),
        *_nights(report),
        *_what_if(report),
        *_skill(report),
        *_readings(report),
    ]
    return "\n".join(parts)


def summary(report: Report) -> str:
    """What happened, in one or two sentences: how many warnings, and the worst minute."""
    boxes = len(report.garden.box_names)
    counts = Counter(alarm.kind for alarm in report.alarms)
    what = ", ".join(f"{count} × {kind}" for kind, count in counts.most_common()) or "no alarm"
    sent = len(report.notices)
    pushes = (
        "nothing would have been sent"
        if not sent
        else f"{sent} notice{'s' * (sent != 1)} would have been sent"
    )
    worst = worst_minute(report)
    return f"{boxes} box{'es' * (boxes != 1)}: {what}; {pushes}." + (f" {worst}" if worst else "")


def worst_minute(report: Report) -> str:
    """The minute furthest over a limit, or the coldest; empty without a reading."""
    found: list[tuple[float, str]] = []
    for observed, word, which in ((report.nights, "Lowest", 0), (report.days, "Highest", 1)):
        for one in observed:
            if one.value_c is None or one.at_s is None:
                continue
            over_c = -one.value_c if which == 0 else one.value_c - 60.0
            if one.box in report.garden.box_names:
                limits = report.garden.limits_for(one.box, one.date)
                limit_c = limits.heat_c if which else limits.frost_c
                over_c = (one.value_c - limit_c) * (1 if which else -1) if limit_c is not None else over_c
            when = moment_of(one.at_s, report)
            found.append((over_c, f"{word}: {degrees_of(one.value_c, report)} in {one.box} at {when}."))
    return max(found, key=lambda item: item[0])[1].replace("in outside", "outside") if found else ""


def _stretch(report: Report) -> list[str]:
    site = report.garden.site
    zone = site.zone or "UTC"
    lines = [f"{moment_of(report.from_s, report)} to {moment_of(report.to_s, report)}, times of {zone}"]
    if doubt := sun_doubts.doubt(site, report.from_s):
        lines += wrapped(f"Look at the site: {doubt}. West of Greenwich the longitude has a minus.")
    if not site.has_sun:
        lines += wrapped(
            "The site is not known, so neither is the sun: plain methods decide, nights count from "
            "18:00 to 08:00. Name it with --site LAT,LON,ZONE."
        )
    return lines + _unseen(report.garden)


def _unseen(garden: Garden) -> list[str]:
    """What no warning can come of: silence there is no good news."""
    if not garden.boxes:
        return wrapped("No box in it, only the open ground: there is nothing to warn of.")
    blind = [box for box in garden.box_names if not garden.probes_at(box, "air")]
    if not blind:
        return []
    return wrapped(f"No air probe in {_listed(blind)}: heat and frost there are not seen, so not warned of.")


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _alarms(report: Report) -> list[str]:
    if not report.alarms:
        return []
    if len(report.alarms) > _MOST_ALARMS:
        return ["", *_alarm_sums(report)]
    rows = [
        (
            moment_of(alarm.raised_s, report),
            "still on"
            if alarm.returned_s is None
            else moment_of(alarm.returned_s, report, short_of=alarm.raised_s),
            alarm.box,
            alarm.kind + (f" {alarm.place}" if alarm.kind.startswith("probe") and alarm.place else ""),
            _peak(alarm, report),
        )
        for alarm in report.alarms
    ]
    return ["", *table_that_fits(("raised", "until", "box", "alarm", "worst"), rows)]


def _alarm_sums(report: Report) -> list[str]:
    """Many alarms by box and kind: how often, from when to when, the worst of each."""
    groups: dict[tuple[str, str], list[Alarm]] = {}
    for alarm in report.alarms:
        groups.setdefault((alarm.box, alarm.kind), []).append(alarm)
    if len(groups) > _MOST_ALARMS:
        return _alarm_kinds(report)
    rows = []
    for (box, kind), alarms in sorted(groups.items(), key=lambda item: -len(item[1])):
        rows.append((str(len(alarms)), box, kind, *_first_last_worst(alarms, report)))
    return [
        *table_that_fits(("times", "box", "alarm", "first", "last", "worst"), rows),
        "  --json has every one of them",
    ]


def _alarm_kinds(report: Report) -> list[str]:
    """Alarms of many boxes by kind alone: in how many boxes, and where the worst was."""
    groups: dict[str, list[Alarm]] = {}
    for alarm in report.alarms:
        groups.setdefault(alarm.kind, []).append(alarm)
    rows = []
    for kind, alarms in sorted(groups.items(), key=lambda item: -len(item[1])):
        worst = _worst(alarms)
        where = worst.box if _peak(worst, report) != "-" else ""
        boxes = str(len({alarm.box for alarm in alarms}))
        rows.append((str(len(alarms)), boxes, kind, *_first_last_worst(alarms, report), where))
    return [
        *table_that_fits(("times", "boxes", "alarm", "first", "last", "worst", "in"), rows),
        "  --json has every one of them",
    ]


def _worst(alarms: Sequence[Alarm]) -> Alarm:
    peaks = [alarm for alarm in alarms if alarm.peak_c is not None]
    sign = -1 if alarms[0].kind in _COLD else 1
    return max(peaks, key=lambda alarm: sign * (alarm.peak_c or 0.0), default=alarms[-1])


def _first_last_worst(alarms: Sequence[Alarm], report: Report) -> tuple[str, str, str]:
    days = day_of(alarms[0].raised_s, report), day_of(alarms[-1].raised_s, report)
    return *days, _peak(_worst(alarms), report)


def _peak(alarm: Alarm, report: Report) -> str:
    if alarm.peak_c is None or alarm.kind not in _WITH_PEAK:
        return "-"
    # Of a frost ahead nothing was measured: its worst is what was expected then.
    foretold = " foretold" if alarm.kind == "frost-ahead" else ""
    return degrees_of(alarm.peak_c, report) + foretold


def _notices(report: Report) -> list[str]:
    if not report.notices:
        return []
    lines = ["", "sent"]
    for notice in report.notices[:_MOST_NOTICES]:
        lines += wrapped(f"{moment_of(notice.issued_s, report)}  {notice.text}", indent="  ", rest=" " * 16)
    return lines + rest_of(report.notices, _MOST_NOTICES)


def _nights(report: Report) -> list[str]:
    known = [one for one in report.nights if one.value_c is not None]
    if not known:
        return []
    coldest = sorted(known, key=lambda one: one.value_c or 0.0)[:_MOST_NIGHTS]
    shown_nights = sorted(coldest, key=lambda one: (one.date, one.box))
    title = "night" if len(known) <= _MOST_NIGHTS else "coldest nights"
    rows = [
        (
            one.date.isoformat() + ("" if one.whole else " (part)"),
            one.box,
            degrees_of(one.value_c or 0.0, report),
            clock_of(one.at_s or 0, report),
            _foretold(one, report),
        )
        for one in shown_nights
    ]
    return ["", *table_that_fits((title, "box", "lowest", "at", "foretold"), rows)]


def _foretold(one: Observed, report: Report) -> str:
    mine = [f for f in report.night_forecasts if (f.box, f.night) == (one.box, one.date)]
    if not mine:
        return "-"
    first = min(mine, key=lambda forecast: forecast.issued_s)
    low, high = (figure_of(value, report) for value in (first.low_c, first.high_c))
    return f"{degrees_of(first.min_c, report)} ({low} to {high})"


def _what_if(report: Report) -> list[str]:
    found = report.what_if
    if found is None:
        return []
    at_s = int(datetime.fromisoformat(found["at"]).timestamp())
    low, high = (figure_of(found[key], report) for key in ("low_c", "high_c"))
    return [
        "",
        *wrapped(
            f"With {found['box']} {found['action']} from {moment_of(at_s, report)} on: lowest "
            f"{degrees_of(found['min_c'], report)} ({low} to {high}), highest "
            f"{degrees_of(found['max_c'], report)}. As it was: lowest "
            f"{degrees_of(found['observed_min_c'], report)}."
        ),
    ]


def _skill(report: Report) -> list[str]:
    """Each kind of forecast beside the plain method that came closest, then what that comes to in words."""
    best: dict[str, dict[str, Any]] = {}
    for one in report.skill:
        held = best.get(one["forecast"])
        if _plain_score(one) is not None and (held is None or _closeness(one) < _closeness(held)):
            best[one["forecast"]] = one
    rows = [
        (
            name.replace(" minimum", "").replace(" maximum", ""),
            str(one["compared"]),
            *_scores(one, report),
            {True: "yes", False: "no", None: "too few"}[one["is_better"]],
            SHORT.get(one["plain"], one["plain"]),
        )
        for name, one in best.items()
    ]
    table = table_that_fits(("forecast", "of", "error", "plain", "better", "plain is"), rows) if rows else []
    lines = [line for text in sentences(report.skill) for line in wrapped(text, rest="  ")]
    return ["", *table, *lines] if table or lines else []


def _plain_score(one: dict[str, Any]) -> float | None:
    return one.get("plain_error_c", one.get("plain_brier"))


def _closeness(one: dict[str, Any]) -> tuple[bool, float]:
    """By this the plain method to show is chosen: one with enough cases, then the one that came closest."""
    return one["is_better"] is None, _plain_score(one) or 0.0


def _scores(one: dict[str, Any], report: Report) -> tuple[str, str]:
    """Our error and the plain one's: degrees, or a Brier score of chances."""
    if "brier" in one:
        return f"{one['brier']:.3f}", f"{one['plain_brier']:.3f}"
    unit = report.garden.site.unit
    return tuple(f"{shown_difference(one[key], unit):.1f} °{unit}" for key in ("error_c", "plain_error_c"))


def _readings(report: Report) -> list[str]:
    rows, used = report.cells()
    lines = ["", f"{rows:,} readings, {used:,} without a fault"]
    for word, count in sorted(report.flagged().items(), key=lambda item: -item[1]):
        lines.append(f"  {count:,} {word}: {_FLAG_WORDS.get(word, word)}")
    for remark in report.remarks:
        lines += wrapped(f"read: {remark}", indent="  ", rest="    ")
    return lines
