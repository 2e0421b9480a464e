"""What stands below a panel: the lid's strip, the alarms in words, and at the end what was sent."""

from __future__ import annotations

import textwrap
from itertools import pairwise

from propstick.drawing import paper
from propstick.drawing.scales import TimeScale
from propstick.drawing.scene import BoxNight, NightScene
from propstick.drawing.sheet import CHARACTERS, EDGE, LEFT, LINE, MOST_ALARMS, MOST_NOTICES, RIGHT
from propstick.records import Alarm
from propstick.times import DAY_S, local

_WORST = {"heat": "highest", "soil-hot": "highest", "frost": "lowest", "soil-cold": "lowest"}
"""Alarms whose peak is worth a word, and what it is."""


def lid_strip(box: BoxNight, times: TimeScale, top: float) -> str:
    """Lid and cover through the night: the lid's opening as height, a cover as a bar; said in words."""
    base = top + 15
    parts = [paper.text(EDGE, base, "lid", kind="quiet", size=12.5)]
    if not box.lids:
        parts.append(paper.text(LEFT, base, "not known", kind="quiet", size=12.5))
    for lid, after in pairwise([*box.lids, None]):
        left, right = times.held(lid.time_s), times.held(times.end_s if after is None else after.time_s)
        if right <= left:
            continue
        height, opacity = 2 + 10 * lid.opening, 0.4 if lid.known_from == "estimate" else 0.8
        parts.append(paper.rect(left, base - height, right - left, height, css="ps-t-glass", opacity=opacity))
        words = _lid_word(lid.opening) + (" (estimated)" if lid.known_from == "estimate" else "")
        if right - left > 7 * len(words):
            parts.append(paper.text(left + 3, base - 3, words, size=11.5, halo=True))
        elif after is None:
            parts.append(paper.text(RIGHT + 9, base, _lid_word(lid.opening).removesuffix(" open"), size=12.5))
    for told, after in pairwise([*box.covers, None]):
        left, right = times.held(told.time_s), times.held(times.end_s if after is None else after.time_s)
        if told.on and right > left:
            parts.append(paper.rect(left, base + 3, right - left, 14, css="ps-t-cover"))
            inside = right - left > 60
            x, kind = (left + 5, "paper") if inside else (RIGHT + 9, "cover")
            parts.append(paper.text(x, base + 14, "covered", kind=kind, size=11.5, bold=True))
    return "".join(parts)


def _lid_word(opening: float) -> str:
    if opening <= 0.02:
        return "closed"
    return "propped" if opening <= 0.3 else "open" if opening >= 0.9 else f"{opening:.0%} open"


def alarm_list(alarms: list[Alarm], scene: NightScene, times: TimeScale, top: float) -> tuple[str, float]:
    """Each alarm with the number of its mark; and where the next thing may begin."""
    parts, y = [], top
    for number, alarm in enumerate(alarms[:MOST_ALARMS], 1):
        y += LINE
        parts.append(paper.path(f"M{LEFT - 12} {paper.num(y - 9)}l5 8h-10z", css="ps-t-alarm"))
        parts.append(paper.text(LEFT - 4, y, str(number), kind="alarm", size=12.5, bold=True))
        parts.append(paper.text(LEFT + 12, y, _alarm_words(alarm, scene, times), size=12.5))
    if len(alarms) > MOST_ALARMS:
        y += LINE
        words = f"and {len(alarms) - MOST_ALARMS} more alarms"
        parts.append(paper.text(LEFT + 12, y, words, kind="quiet", size=12.5))
    return "".join(parts), y


def _alarm_words(alarm: Alarm, scene: NightScene, times: TimeScale) -> str:
    def clock(time_s: int) -> str:
        at = local(time_s, scene.zone)
        return ("" if _clock_tells(time_s, times) else f"{at.day} {at:%b} ") + scene.clock(time_s)

    kind, began = alarm.kind.replace("-", " "), clock(alarm.raised_s)
    if alarm.returned_s is None:
        words = f"{kind} since {began}"
    else:
        words = f"{began} to {clock(alarm.returned_s)}: {kind}"
    if alarm.peak_c is not None and alarm.kind in _WORST:
        words += f", {_WORST[alarm.kind]} {scene.degrees(alarm.peak_c)}"
    return words


def _clock_tells(time_s: int, times: TimeScale) -> bool:
    """Whether no other moment of the picture has the same time of day."""
    return times.end_s - DAY_S < time_s < times.start_s + DAY_S or times.inside(time_s)


def sent_list(scene: NightScene, times: TimeScale, top: float) -> tuple[str, float]:
    """What reached a phone, word for word; and what the forecast marks mean, where there are any."""
    parts, y = [], top
    if any(box.forecasts for box in scene.boxes):
        parts.append(paper.rect(EDGE + 6, y - 9, 5, 14, css="ps-t-said", opacity=0.3))
        parts.append(paper.line(EDGE + 3, y - 2, EDGE + 14, y - 2, kind="said", width=2))
        words = "as said then: lowest expected, 9 in 10 within the bar"
        parts.append(paper.text(LEFT, y + 2, words, kind="said", size=12))
        y += 22
    sent = [n for n in scene.notices if times.inside(n.issued_s)]
    if not sent:
        return "".join(parts) + paper.text(EDGE, y, "Nothing was sent.", kind="quiet", size=12.5), y
    parts.append(paper.text(EDGE, y, "Sent", size=13, bold=True))
    y += 2
    indent, characters = (LEFT + 44, CHARACTERS - 10) if scene.twelve_hour else (LEFT + 24, CHARACTERS - 7)
    for notice in sent[:MOST_NOTICES]:
        for k, words in enumerate(textwrap.wrap(notice.text, characters) or [""]):
            y += LINE
            if k == 0:
                parts.append(paper.text(EDGE, y, times.clock(notice.issued_s), size=12.5, bold=True))
            parts.append(paper.text(indent, y, words, size=12.5))
    if len(sent) > MOST_NOTICES:
        y += LINE
        parts.append(paper.text(indent, y, f"and {len(sent) - MOST_NOTICES} more", kind="quiet", size=12.5))
    return "".join(parts), y
