"""What a brief says: each deed with its boxes and why, in as few words as a phone shows at a glance."""

from __future__ import annotations

import re
from collections.abc import Sequence

from propstick.engine.advice import Choice
from propstick.engine.wording import Speech, listed
from propstick.records import BriefLine

BRIEF_LENGTH = 320
"""Characters of a brief that a phone shows without scrolling. Our choice."""

ADVICE_WORDS = {
    "open": "Open",
    "prop": "Prop",
    "close": "Close",
    "cover": "Close and cover",
    "uncover": "Uncover",
    "air": "Air",
}

NO_FORECAST = "no forecast yet"
"""What a line says that must not be read as "nothing to do"."""

_FIGURE = re.compile(r"−?\d+(?:[.,]\d+)?(?= °)")
"""A temperature without its unit, as `Speech` writes it."""


def brief_text(which: str, lines: Sequence[BriefLine], troubles: Sequence[str], speech: Speech) -> str:
    """A brief as one message: what to do first, then what to know.

    What makes it too long for a phone is left to the page: first the troubles beyond the first, then
    the reasons. No deed is ever left out.
    """
    known = list(dict.fromkeys(text for text in troubles if text))
    few = [*known[:1], _more(len(known) - 1)] if len(known) > 2 else known
    count = [_more(len(known), "A probe or box needs a look.")]
    for reasons, told in ((True, known), (True, few), (False, few), (False, count)):
        parts = (f"{which.capitalize()}:", *_deeds(lines, speech, reasons), *told)
        text = " ".join(part for part in parts if part)
        if len(text) <= BRIEF_LENGTH:
            break
    return text


def _more(count: int, one: str = "") -> str:
    return "" if count <= 0 else one if count == 1 and one else f"{count} more to see to."


def _deeds(lines: Sequence[BriefLine], speech: Speech, reasons: bool) -> list[str]:
    """One sentence for each deed, time and kind of reason."""
    said: list[str] = []
    for advice, word in ADVICE_WORDS.items():
        groups: dict[tuple, list[BriefLine]] = {}
        for line in lines:
            if line.advice == advice:
                kind = _FIGURE.sub("#", line.reason) if reasons else ""
                groups.setdefault((line.by_s, kind), []).append(line)
        for (by_s, _), group in groups.items():
            by = "" if by_s is None else f" by {speech.by(by_s)}"
            why = f": {_joined([line.reason for line in group])}" if reasons else ""
            said.append(f"{word} {listed([line.box for line in group])}{by}{why}.")
    blind = [line.box for line in lines if line.advice == "leave" and line.reason == NO_FORECAST]
    if blind:
        said.append(f"No forecast yet for {listed(blind)}: judge by the sky.")
    left = [line.box for line in lines if line.advice == "leave" and line.box not in blind]
    if not said:
        return ["Nothing to do" + (f"; leave {listed(left)} as they are." if len(left) > 1 else ".")]
    return [*said, f"Leave {listed(left)}."] if left else said


def _joined(reasons: Sequence[str]) -> str:
    """Reasons alike but for their figures as one: `if shut, sun would bring about 35, 29 and 40 °C`."""
    columns = zip(*(_FIGURE.findall(reason) for reason in reasons), strict=True)
    figures = iter([column[0] if len(set(column)) == 1 else listed(column) for column in columns])
    return _FIGURE.sub(lambda _: next(figures), reasons[0])


def advice_reason(choice: Choice, speech: Speech) -> str:
    """Why, in one clause that fits one box as well as several."""
    value = "" if choice.value_c is None else speech.rough(choice.value_c)
    limit = "" if choice.limit_c is None else speech.limit(choice.limit_c)
    left = "" if choice.remedy_c is None else speech.rough(choice.remedy_c)
    if choice.because in ("heat", "warm", "risk"):
        closed = {
            "heat": f"if shut, sun would bring about {value}",
            "warm": f"if shut, sun may bring about {value}",
            "risk": f"if shut, sun might bring as much as {value}",
        }[choice.because]
        if choice.advice == "leave":
            return f"as it should be: {closed}"
        opened = {"open": "open", "prop": "propped"}.get(choice.advice, "so")
        return closed + (f"; {opened} {left}" if left else "")
    if choice.because == "arm":
        return f"its arm opens it at {limit} by itself"
    if choice.because == "frost":
        sure = choice.value_c is not None and choice.limit_c is not None and _is_under(choice, speech)
        falling = f"{'will' if sure else 'may'} fall below {limit} tonight"
        if choice.advice == "leave":
            return f"{falling} (about {value}), and nothing more can be done"
        done = {"cover": "covered", "close": "shut"}.get(choice.advice, "so")
        return f"{falling}: about {value}" + (f"; {done} {left}" if left and left != value else "")
    if choice.because == "chill":
        return f"about {value} if left; shut {left}" if left and left != value else f"about {value} tonight"
    return {
        "cool-day": f"if shut, no more than about {value}",
        "damp": "damp for two days, and mild outside",
        "sun-again": "covered, and the day needs its light",
        "calm": f"about {value}, within its limits" if value else "within its limits",
        "unknown": NO_FORECAST,
        "silent": "no reading, and its lid is open",
    }[choice.because]


def _is_under(choice: Choice, speech: Speech) -> bool:
    """Whether the forecast, in whole degrees, lies below the limit."""
    assert choice.value_c is not None
    assert choice.limit_c is not None
    return speech.shown(choice.value_c) < speech.shown(choice.limit_c, digits=1)
