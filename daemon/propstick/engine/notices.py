"""Which alarms reach a phone, when, and how many in one message.

An alarm is a state, a notice an interruption; a person who is interrupted for nothing stops listening.
So alarms that need the same hand share a notice, whoever was told is not told again while it stands,
the night is for sleeping, and a person at work is told once. What is held back is not lost: it is told
when the hour allows if it still stands then, and the next brief speaks of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import isnan, nan

from propstick.engine.desk import Desk, HandMemory, Moment
from propstick.engine.kinds import KINDS, URGENCY_RANK
from propstick.engine.standing import Standing, stamp
from propstick.engine.wording import (
    WIDE_OPEN,
    Speech,
    again,
    frost_notice,
    heat_notice,
    look_notice,
    return_notice,
)
from propstick.garden import Garden
from propstick.records import Alarm, Notice

SAME_HAND_S = 900
"""Alarms that need the same hand within so long make one notice (design)."""
NAMED_S = 3600
"""A box named in a notice as on its way is not told of again so soon: the person is at the boxes."""
REPEAT_S = 3600
"""The same box crossing the same limit again so soon is the same matter."""
LOOK_AGAIN_S = 12 * 3600
"""A probe that comes and goes is told of twice a day at most."""
ASKED_HOLDS_S = 12 * 3600
HARDLY_COLDER_C = 1.0
"""A brief that asked for a box to be covered is not followed by a push for so little. Our choice."""
DEEPER_C = 2.0
"""A night minimum so far below what was said is worth waking for (design)."""
SAID_S = 16 * 3600
"""For so long what was said before dusk speaks for the night."""
WOKEN_S = 12 * 3600
BRIEF_SENT_S = 300
"""A brief goes out on the first row at or after its time, and rows are no further apart."""


def wanting(standings: Sequence[Standing]) -> list[Standing]:
    """Alarms that the person should be told of and was not."""
    return [
        s
        for s in standings
        if s.state == "unacknowledged" and s.alarm is not None and s.told_s is None
        and (KINDS[s.kind].telling == "push" or s.pressing)
    ]  # fmt: skip


def may_be_told(standing: Standing, desk: Desk, moment: Moment) -> bool:
    """Whether the hour allows a notice of this alarm."""
    kind = KINDS[standing.kind]
    if standing.foretold_s is not None and moment.time_s < foretold_until_s(standing, moment.garden):
        return False
    if standing.kind == "frost" and not _is_news(standing, desk, moment):
        return False
    if standing.kind in ("frost", "frost-ahead") and moment.day.sun_undoes(standing.begun_s, moment.time_s):
        return False
    if standing.kind == "heat" and _is_cooler_by_now(standing, moment):
        return False
    if standing.kind == "frost-ahead" and not _is_asked_anew(standing, desk, moment):
        return False
    if standing.kind == "heat-ahead" and moment.lid.get(standing.subject.box, 0.0) >= WIDE_OPEN:
        return False
    if kind.telling == "brief" and _is_for_evening(standing, moment):
        return False
    if moment.day.is_quiet(moment.time_s):
        return kind.wakes or (standing.kind == "frost" and not _was_woken(desk, moment))
    if moment.day.is_away(moment.time_s) and kind.hand == "open" and moment.garden.person.helper is None:
        return desk.away_day != moment.day.date
    return True


def _is_cooler_by_now(standing: Standing, moment: Moment) -> bool:
    """Whether what was held back has passed its worst: under the limit again, though not yet over."""
    limit_c = standing.alarm.limit_c if standing.alarm else None
    return limit_c is not None and moment.air_c.get(standing.subject.box, limit_c) < limit_c


def _is_asked_anew(standing: Standing, desk: Desk, moment: Moment) -> bool:
    """Whether a frost foreseen asks for more than the evening asked for already.

    Not where the box is covered; nor where the brief asked for the same hand in a night hardly colder;
    nor, once the night had its notice, of another box that only may be touched.
    """
    box, alarm = standing.subject.box, standing.alarm
    if box in moment.covered or alarm is None:
        return False
    value_c = moment.foreseen_c.get(box, alarm.value_c)
    asked, last = desk.asked.get(box), desk.hands.get("close")
    if value_c is None:
        return asked is None
    was_told = last is not None and last.kind == "frost-ahead" and moment.time_s - last.issued_s < WOKEN_S
    if was_told and alarm.limit_c is not None and value_c >= alarm.limit_c:
        return False
    if asked is not None and moment.time_s - asked.said_s <= ASKED_HOLDS_S:
        return value_c < asked.min_c - HARDLY_COLDER_C
    return True


def _going_along(news: Sequence[Standing], wanted: Sequence[Standing], moment: Moment) -> list[Standing]:
    """The news, and the other boxes a frost stands or is foreseen for: who goes out for one shuts them all.

    Else the next would ask for a notice of its own an hour later, when it has come a little colder.
    """
    kinds = {s.kind for s in news} & {"frost", "frost-ahead"}
    return [
        s
        for s in wanted
        if s in news
        or (
            s.kind in kinds
            and s.subject.box not in moment.covered
            and not moment.day.sun_undoes(s.begun_s, moment.time_s)
        )
    ]


def _is_for_evening(standing: Standing, moment: Moment) -> bool:
    """Whether a trouble begun while nobody could see to it waits for the brief of that evening."""
    day, alarm = moment.day, standing.alarm
    if moment.garden.person.helper is not None or alarm is None:
        return False
    is_before_brief = moment.time_s < day.evening_s + BRIEF_SENT_S
    return day.is_away(moment.time_s) or (day.is_away(alarm.raised_s) and is_before_brief)


def foretold_until_s(standing: Standing, garden: Garden) -> int:
    """Until when the forecast's notice speaks for the alarm: the person's reaction time."""
    return (standing.foretold_s or 0) + round(60 * garden.box(standing.subject.box).reaction_minutes)


def waking_c(standing: Standing, desk: Desk) -> float | None:
    """The air below which a frost that was spoken of is news; None: any frost is, nothing was said."""
    said = desk.said.get(standing.subject.box)
    if said is None or standing.begun_s is None or standing.begun_s - said.said_s > SAID_S:
        return None
    return said.min_c - DEEPER_C


def _is_news(standing: Standing, desk: Desk, moment: Moment) -> bool:
    """Whether a frost tells more than was said before dusk, and something can still be done."""
    box, bound_c = standing.subject.box, waking_c(standing, desk)
    if box in moment.covered:
        return False
    return bound_c is None or moment.air_c.get(box, nan) <= bound_c


def woken_until_s(desk: Desk) -> int | None:
    """Until when a frost that was told of is enough for the night."""
    last = desk.hands.get("close")
    return last.issued_s + WOKEN_S if last is not None and last.kind == "frost" else None


def _was_woken(desk: Desk, moment: Moment) -> bool:
    until_s = woken_until_s(desk)
    return until_s is not None and moment.time_s < until_s


def tell(desk: Desk, wanted: Sequence[Standing], moment: Moment) -> tuple[Desk, list[Standing], list[Notice]]:
    """Decides on the notices of a row; boxes are named in the order of the garden file, as on the page.

    Returns:
        The desk after it, the standings that count as told now, the notices.
    """
    place = {box: k for k, box in enumerate(moment.garden.box_names)}
    wanted = sorted(wanted, key=lambda s: place.get(s.subject.box, len(place)))
    told: list[Standing] = []
    notices: list[Notice] = []
    for hand in ("close", "open", "look"):
        ready = [s for s in wanted if KINDS[s.kind].hand == hand and may_be_told(s, desk, moment)]
        news = [s for s in ready if not _is_known(s, desk, moment)]
        news = _going_along(news, wanted, moment)
        told.extend(replace(s, told_s=moment.time_s) for s in ready if s not in news)
        if news:
            alarms = [_as_of_now(s.alarm, moment) for s in news if s.alarm is not None]
            notice, named = _compose(hand, alarms, moment)
            notices.append(notice)
            told.extend(replace(s, told_s=moment.time_s, told_by_push=True) for s in news)
            desk = _noted(desk, hand, news, named, notice, moment)
            minima = {a.box: a.value_c for a in alarms if a.kind == "frost-ahead" and a.value_c is not None}
            desk = desk.with_said(minima, moment.time_s)
    return desk, told, notices


def _is_known(standing: Standing, desk: Desk, moment: Moment) -> bool:
    """Whether what was told already covers it, so that another notice would say nothing new."""
    kind, box = KINDS[standing.kind], standing.subject.box
    again_s = LOOK_AGAIN_S if kind.hand == "look" else REPEAT_S
    if moment.time_s - desk.told_s.get(f"{standing.kind}|{box}", -again_s) < again_s:
        return True
    if moment.time_s - desk.named_s.get(f"{kind.hand}|{box}", -NAMED_S) < NAMED_S:
        return True
    last = desk.hands.get(kind.hand)
    assert standing.alarm is not None
    return (
        last is not None
        and kind.hand != "look"
        and moment.time_s - last.issued_s < SAME_HAND_S
        and URGENCY_RANK[standing.alarm.urgency] <= last.rank
    )


def _compose(hand: str, alarms: Sequence[Alarm], moment: Moment) -> tuple[Notice, tuple[str, ...]]:
    speech = Speech(moment.garden)
    named: tuple[str, ...] = ()
    if hand == "open":
        boxes = {a.box for a in alarms}
        soon = [item for item in moment.soon() if item[0] not in boxes]
        named = tuple(name for name, _, _ in soon)
        shade = {a.box: "Shade" for a in alarms if moment.lid.get(a.box, 0.0) >= WIDE_OPEN}
        text = heat_notice(speech, alarms, soon, by_box=shade)
    elif hand == "close" and any(a.kind != "lid-loose" for a in alarms):
        shut = frozenset(box for box, lid in moment.lid.items() if lid == 0.0)
        text = frost_notice(speech, [a for a in alarms if a.kind != "lid-loose"], shut=shut)
    else:
        text = look_notice(alarms)
    away = moment.day.is_away(moment.time_s) and hand != "close"
    return _notice(
        alarms, text, moment, named=named, to=(moment.garden.person.helper if away else None)
    ), named


def _as_of_now(alarm: Alarm, moment: Moment) -> Alarm:
    """The alarm with the air of the row, where it was held back and the air went on."""
    if alarm.kind == "frost-ahead":
        return replace(alarm, value_c=moment.foreseen_c.get(alarm.box, alarm.value_c))
    air_c = moment.air_c.get(alarm.box, nan)
    is_air = alarm.kind in ("heat", "fast-rise", "frost", "heat-ahead")
    return replace(alarm, value_c=air_c) if is_air and not isnan(air_c) else alarm


def _notice(
    alarms: Sequence[Alarm], text: str, moment: Moment, *, named: tuple[str, ...] = (), to: str | None = None,
    step: int = 0,
) -> Notice:  # fmt: skip
    first = max(alarms, key=lambda a: URGENCY_RANK[a.urgency])
    ending = f".e{step}" if step else ""
    return Notice(
        id=f"{stamp(moment.time_s)}.{alarms[0].id}{ending}",
        issued_s=moment.time_s,
        boxes=tuple(dict.fromkeys([*(a.box for a in alarms), *named])),
        kinds=tuple(dict.fromkeys(a.kind for a in alarms)),
        text=text,
        to=to or "person",
        alarm_ids=tuple(a.id for a in alarms),
        urgency=first.urgency,
        severity=first.severity,
        certainty=first.certainty,
        escalation=step,
    )


def _noted(
    desk: Desk, hand: str, news: Sequence[Standing], named: tuple[str, ...], notice: Notice, moment: Moment
) -> Desk:
    now = moment.time_s
    told = {**desk.told_s, **{f"{s.kind}|{s.subject.box}": now for s in news}}
    names = {**desk.named_s, **{f"{hand}|{box}": now for box in named}}
    away = moment.day.is_away(now) and hand == "open" and moment.garden.person.helper is None
    return replace(
        desk,
        hands={**desk.hands, hand: HandMemory(now, URGENCY_RANK[notice.urgency], news[0].kind)},
        told_s={key: at for key, at in told.items() if now - at < LOOK_AGAIN_S},
        named_s={key: at for key, at in names.items() if now - at < NAMED_S},
        away_day=moment.day.date if away else desk.away_day,
    )


def escalation_due_s(standing: Standing, garden: Garden) -> int | None:
    """When an alarm nobody answers is told again; None: not, or no more."""
    plan = garden.notices.escalation_minutes
    if (
        standing.state != "unacknowledged"
        or not standing.told_by_push
        or standing.told_s is None
        or standing.escalations >= len(plan)
    ):
        return None
    return standing.told_s + round(60 * plan[standing.escalations])


def escalate(standing: Standing, moment: Moment) -> tuple[Standing, Notice]:
    """The next step of the escalation plan."""
    assert standing.alarm is not None
    k = standing.escalations
    minutes = moment.garden.notices.escalation_minutes[k]
    text = again(standing.alarm.message, minutes)
    return replace(standing, escalations=k + 1), _notice([standing.alarm], text, moment, step=k + 1)


def tell_return(alarm: Alarm, moment: Moment) -> Notice:
    """That it is over, for a person who asked to hear of it."""
    return replace(
        _notice([alarm], return_notice(Speech(moment.garden), alarm), moment),
        id=f"{stamp(moment.time_s)}.{alarm.id}.over",
        urgency="Past",
    )
