"""The first sight: one sentence, then each box from the side with what is known of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from propstick.drawing.frame import frame_picture
from propstick.engine.brief_words import NO_FORECAST
from propstick.times import local_date
from propstick_api.live import Health
from propstick_api.page import words
from propstick_api.page.alarm_now import is_old
from propstick_api.page.alarms_part import alarm_list
from propstick_api.page.markup import Safe, join, tag
from propstick_api.page.reading import Reading, span_words
from propstick_api.page.sentence import (
    STANDING,
    deed,
    is_done,
    next_opening,
    sentence,
    standing_advice,
)

PLACES = (("air", words.AIR), ("soil", words.SOIL))
HAND_KINDS = frozenset({"heat", "heat-ahead", "fast-rise", "frost", "frost-ahead", "lid-loose"})


def first_sight(
    view: dict[str, Any] | None,
    health: Health,
    reading: Reading,
    *,
    now_s: int,
    is_night: bool = False,
    said: str = "",
) -> Safe:
    """What stands inside `main`.

    Args:
        view: The live view; None before the watch has done a row.
        said: What became of the form just sent.
    """
    opening = sentence(view, health, reading, now_s=now_s)
    head = [tag("h1", opening), tag("p", said, role="alert") if said else None]
    if view is None:
        step = span_words(health.step_s)
        return tag("header", *head, tag("p", words.NOT_STARTED_HELP.format(step=step)), class_="lid")
    age = span_words(health.age_s or 0)
    read = (words.FRESH if health.is_good else words.STALE).format(
        age=age, clock=reading.when(view["time"], now_s=now_s)
    )
    head.append(tag("p", read, class_="read" if health.is_good else "read stale"))
    boxes = [_box(box, view, reading, now_s=now_s, is_night=is_night) for box in view["boxes"]]
    names = {box["box"] for box in view["boxes"]}
    elsewhere = [alarm for alarm in view["alarms"] if alarm["box"] not in names]
    return join(
        tag("header", *head, class_="lid"),
        _elsewhere(elsewhere, view, reading, now_s),
        *boxes,
        _outside(view, reading),
        _brief(view["brief"], reading, now_s),
    )


def lid_words(opening: float | None) -> str:
    """Where a lid is, as one says it."""
    if opening is None:
        return words.LID_UNKNOWN
    if opening <= 0.01:
        return words.LID_SHUT
    if opening >= 0.95:
        return words.LID_OPEN
    return words.LID_PROPPED.format(percent=round(100 * opening))


def trend_words(rise_c_per_h: float | None, reading: Reading) -> str:
    """An arrow, a word and a rate; nothing where the slope is not known."""
    if rise_c_per_h is None:
        return ""
    word = next((word for most, word in words.TRENDS if rise_c_per_h < most), words.TREND_TOP)
    if word == words.STEADY:
        return word
    return f"{word}, {words.PER_HOUR.format(rate=reading.difference(rise_c_per_h))}"


def about_words(minutes: float) -> str:
    """A span as finely as a slope can tell: `10 minutes`, `an hour and a half`, `3 hours`."""
    if minutes < 52.5:
        return span_words(60 * max(5, 5 * round(minutes / 5)))
    halves = round(minutes / 30)
    return words.HOUR_AND_A_HALF if halves == 3 else span_words(3600 * round(halves / 2))


def _box(box: dict[str, Any], view: dict[str, Any], reading: Reading, *, now_s: int, is_night: bool) -> Safe:
    name = box["box"]
    alarms = [alarm for alarm in view["alarms"] if alarm["box"] == name]
    tonight = _is_tonight(box, view, is_night)
    heading = f"box-{name}"
    return tag(
        "section",
        tag("h2", name, id=heading),
        _picture(box, standing_advice(box, view), is_night=is_night),
        tag(
            "div",
            alarm_list(alarms, view, reading, now_s=now_s),
            _advice(box, standing_advice(box, view), reading, alarms),
            tag("p", words.DOUBTS[box["doubt"]]) if box.get("doubt") else None,
            tag(
                "dl",
                *_values(box, view["step_s"], reading),
                *_room(box, reading, is_tonight=tonight),
                *_sown(box, reading),
            ),
            class_="facts",
        ),
        class_="box",
        aria_labelledby=heading,
    )


def _picture(box: dict[str, Any], line: dict[str, Any] | None, *, is_night: bool) -> Safe:
    opening = box["lid"]["opening"]
    wanted = None if line is None or is_done(box, line) else next_opening(line)
    now = words.LID_NOW.format(lid=lid_words(opening), source=words.LID_SOURCE.get(box["lid"]["from"], ""))
    if box["cover"]:
        now += f", {words.COVERED}"
    after = "" if wanted is None else words.LID_NEXT.format(lid=lid_words(wanted))
    if wanted is not None and opening is not None and lid_words(opening) == lid_words(wanted):
        wanted, after = None, words.COVER_ON if line and line["advice"] == "cover" else ""
    elif line and line["advice"] == "uncover" and not is_done(box, line):
        after = words.COVER_OFF
    after = f"; {after}" if after else ""
    svg = frame_picture(
        words=f"{box['box']}: {now}{after}",
        opening=opening,
        next_opening=wanted,
        next_word=words.NEXT,
        unknown_word=words.NO_LID,
        is_night=is_night,
        is_covered=bool(box["cover"]),
    )
    return tag("figure", Safe(svg), tag("figcaption", now, tag("b", after) if after else None))


def _advice(
    box: dict[str, Any], line: dict[str, Any] | None, reading: Reading, alarms: list[dict[str, Any]]
) -> Safe | None:
    """The last brief's line; not where it says leave and an alarm has since asked for a hand."""
    overtaken = any(a["kind"] in HAND_KINDS and a["state"] in STANDING for a in alarms)
    if line is None or (line["advice"] == "leave" and overtaken):
        return None
    if line["advice"] == "leave" and line["reason"] == NO_FORECAST:
        return tag("p", words.NO_FORECAST, class_="advice")
    by = "" if line["by"] is None else words.ADVICE_BY.format(by=reading.clock(line["by"]))
    done = is_done(box, line) and line["advice"] != "leave"
    advice = words.ADVICE_LEAVE if line["reason"].startswith(words.AS_IT_SHOULD) else words.ADVICE
    reason = line["reason"].removeprefix(words.AS_IT_SHOULD)
    if advice == words.ADVICE_LEAVE:
        reason = reason[:1].upper() + reason[1:]
    said = advice.format(deed=deed(line, box), by=by, reason=reason)
    said = said[0].upper() + said[1:]
    return tag("p", f"{words.DONE} {said}" if done else said, class_="advice")


def _values(box: dict[str, Any], step_s: int, reading: Reading) -> list[Safe]:
    found = []
    for place, word in PLACES:
        one = box[place]
        if one["value"] is None and not one["probes"]:
            continue
        old = None
        if one["value"] is not None and is_old(one, step_s) and one["age_s"] is not None:
            old = tag("b", " ", words.VALUE_OLD.format(age=span_words(one["age_s"])))
        trend = trend_words(one["rise_per_h"], reading)
        value = tag("strong", reading.degrees(one["value"]), class_="value")
        found += [tag("dt", word), tag("dd", value, " ", trend, old)]
    return found


def _is_tonight(box: dict[str, Any], view: dict[str, Any], is_night: bool) -> bool:
    """Whether the last night that was forecast is still to come, or is this one: by day it may be over."""
    forecast = box["forecast"]["night"]
    if forecast is None or is_night:
        return True
    now_s = datetime.fromisoformat(view["time"]).timestamp()
    return forecast["night"] == local_date(now_s, view["zone"]).isoformat()


def _room(box: dict[str, Any], reading: Reading, *, is_tonight: bool = True) -> list[Safe]:
    if box["air"]["value"] is None:
        return [tag("dt", words.ROOM), tag("dd", words.NO_LIMIT)]
    lines = []
    for kind in ("frost", "prop", "heat"):
        limit, room = box["limits"][f"{kind}_c"], box["room"][kind]
        if limit is None or room["c"] is None:
            continue
        if kind == "prop" and (box["room"]["heat"]["c"] or 0) < 0:
            continue  # it is past worse
        name = words.LIMIT_NAMES[kind].format(limit=reading.limit(limit))
        is_past = room["c"] <= 0
        left = (words.ROOM_GONE if is_past else words.ROOM_LEFT).format(room=reading.difference(room["c"]))
        if room["minutes"] and not is_past:
            left += words.ROOM_MINUTES.format(span=about_words(room["minutes"]))
        if room.get("tonight_c") is not None and is_tonight:
            tonight = words.TONIGHT_BELOW if room["tonight_c"] < 0 else words.TONIGHT_ABOVE
            left += tonight.format(room=reading.difference(room["tonight_c"]))
        lines.append(tag("li", f"{name}: ", tag("strong", left) if is_past else left))
    return [tag("dt", words.ROOM), tag("dd", tag("ul", *lines))] if lines else []


def _sown(box: dict[str, Any], reading: Reading) -> list[Safe]:
    lines = []
    for one in box["sowings"]:
        said = words.SOWN_UNDATED if one["sown"] is None else words.SOWN_SINCE
        line = said.format(crop=one["crop"], day=reading.day(one["sown"]) if one["sown"] else "")
        if one["first_up"]:
            line += words.SOWN_UP.format(day=reading.day(one["first_up"]))
        if one["first_pick"]:
            line += words.SOWN_PICK.format(day=reading.day(one["first_pick"]))
        lines.append(tag("li", line))
    return [tag("dt", words.SOWN), tag("dd", tag("ul", *lines))] if lines else []


def _outside(view: dict[str, Any], reading: Reading) -> Safe | None:
    outside = view["outside"]
    if outside is None:
        return None
    values = _values(outside, view["step_s"], reading)
    return tag("section", tag("h2", words.OUTSIDE), tag("dl", *values), class_="outside") if values else None


def _elsewhere(
    alarms: list[dict[str, Any]], view: dict[str, Any], reading: Reading, now_s: int
) -> Safe | None:
    found = alarm_list(alarms, view, reading, now_s=now_s)
    return None if found is None else tag("section", tag("h2", words.ALARM_ELSEWHERE), found)


def _brief(brief: dict[str, Any] | None, reading: Reading, now_s: int) -> Safe | None:
    if brief is None:
        return None
    title = words.BRIEF_AT.format(
        which=words.BRIEFS[brief["which"]], when=reading.when(brief["issued"], now_s=now_s)
    )
    return tag("section", tag("h2", title), tag("p", brief["text"]), class_="brief")
