"""Open alarms as a person sees them, with the two plain forms that answer them."""

from __future__ import annotations

from typing import Any

from propstick_api.page import words
from propstick_api.page.alarm_now import FORETOLD, sentence_now
from propstick_api.page.markup import Safe, tag
from propstick_api.page.reading import Reading
from propstick_api.page.sentence import by_need


def alarm_list(
    alarms: list[dict[str, Any]], view: dict[str, Any], reading: Reading, *, now_s: int
) -> Safe | None:
    """The alarms, each with what can be answered; None where there are none."""
    if not alarms:
        return None
    pending = {one["body"]["id"]: one["kind"] for one in view["asked"] if one["kind"] in words.PENDING}
    shown = [
        _alarm(a, sentence_now(a, view, reading), pending.get(a["id"]), reading, now_s)
        for a in by_need(alarms)
    ]
    return tag("ul", *shown, class_="alarms")


def _alarm(alarm: dict[str, Any], message: str, pending: str | None, reading: Reading, now_s: int) -> Safe:
    until = alarm["shelved_until"]
    state = words.ALARM_STATES.get(alarm["state"], alarm["state"]).format(
        until=reading.when(until, now_s=now_s) if until else ""
    )
    said = words.ALARM_SINCE.format(state=state, since=reading.when(alarm["begun"], now_s=now_s))
    if alarm["peak_c"] is not None and alarm["peak_at"] is not None:
        peak = words.ALARM_EXPECTED if alarm["kind"] in FORETOLD else words.ALARM_PEAK
        said += peak.format(
            peak=reading.degrees(alarm["peak_c"]), clock=reading.when(alarm["peak_at"], now_s=now_s)
        )
    answers = (
        tag("p", words.PENDING[pending], class_="pending") if pending else _answers(alarm, message=message)
    )
    return tag(
        "li", tag("strong", message), tag("span", said, class_="quiet"), answers,
        class_=f"alarm {alarm['state']}",
    )  # fmt: skip


def _answers(alarm: dict[str, Any], *, message: str) -> Safe:
    state, forms = alarm["state"], []
    if state in ("unacknowledged", "returned"):
        forms.append(_form(alarm, "acknowledge", words.ACKNOWLEDGE, message))
    if state in ("unacknowledged", "acknowledged", "returned"):
        hours = [tag("option", word, value=value) for value, word in words.SHELVE_HOURS.items()]
        choice = tag(
            "label", words.SHELVE_FOR, " ", tag("select", *hours, name="hours", id=f"hours-{alarm['id']}")
        )
        forms.append(_form(alarm, "shelve", words.SHELVE, message, choice))
    if state == "shelved":
        forms.append(_form(alarm, "unshelve", words.UNSHELVE, message))
    return tag("div", *forms, class_="answers")


def _form(alarm: dict[str, Any], kind: str, word: str, message: str, *more: Safe) -> Safe:
    button = tag(
        "button", word, id=f"{kind}-{alarm['id']}", aria_label=words.ABOUT.format(deed=word, message=message)
    )
    hidden = tag("input", type="hidden", name="id", value=alarm["id"])
    return tag("form", hidden, button, *more, method="post", action=f"/alarms/{kind}")
