"""The season in sentences, for the terminal and the report alike."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

from propstick.app.season.batch import BatchView
from propstick.app.season.boxes import BoxView
from propstick.app.season.loose import ranked
from propstick.app.season.report import SeasonReport
from propstick.app.season.spot_words import spot_sentence
from propstick.growing.harvest import Window

HEATED_C = 3.0
"""A box so much warmer than outside hurries a batch to flower. Ours."""


_POINT = re.compile(r"(?<=\d)\.(?=\d)")


def in_figures_of(text: str, decimal_sign: str) -> str:
    """The text with the person's decimal sign between figures."""
    return _POINT.sub(decimal_sign, text)


def day_text(day: date | None) -> str:
    """`2 Apr`, for a cell; a dash where there is none."""
    return "-" if day is None else f"{day:%-d %b}"


def date_said(day: date, today: date) -> str:
    """`2 April`, with the year where it is another than this."""
    return f"{day:%-d %B}" if day.year == today.year else f"{day:%-d %B %Y}"


def day_said(day: date | None) -> str:
    """`2 April`, for a sentence."""
    return "-" if day is None else f"{day:%-d %B}"


def window_text(batch: BatchView, window: Window, *, say: Callable[[date | None], str] = day_text) -> str:
    """`12 Mar, 8 Mar–17 Mar`; what cannot be foreseen is left out."""
    middle, low, high = (batch.day(one) for one in (window.expected_s, window.low_s, window.high_s))
    if middle is None and low is None:
        return "-"
    if middle is None:
        return f"after {say(low)}"
    if low is None or high is None:
        return f"about {say(middle)}"
    return f"{say(middle)}, {say(low)}–{say(high)}"


def up_text(batch: BatchView, today: date) -> str:
    """Emergence in a cell: seen and expected, or expected with its interval, or late."""
    seen = batch.sowing.first_up or batch.sowing.half_up
    expected = batch.day(batch.up.expected_s)
    if seen is not None:
        return f"{day_text(seen)}, exp. {day_text(expected)}" if expected else f"seen {day_text(seen)}"
    if batch.sowing.first_pick is not None or batch.sowing.flowering is not None:
        return "not noted"
    if batch.sowing.cleared is not None:
        return "not seen"
    if batch.late_days > 0.0:
        return f"LATE, by {day_text(batch.day(batch.up.high_s))}"
    if expected is not None and expected <= today:
        return f"any day, to {day_text(batch.day(batch.up.high_s))}"
    return window_text(batch, batch.up)


def pick_text(batch: BatchView, today: date) -> str:
    """First pick in a cell: noted, expected with its interval, or due."""
    if batch.sowing.first_pick is not None:
        return f"picked {day_text(batch.sowing.first_pick)}"
    if batch.sowing.cleared is not None:
        return f"cleared {day_text(batch.sowing.cleared)}"
    if batch.pick.expected_s is None and batch.pick_words.startswith("no published"):
        return "no figure yet"
    expected, last = batch.day(batch.pick.expected_s), batch.day(batch.pick.high_s)
    if expected is None and batch.pick.low_s is None and batch.up.expected_s is not None and batch.pick_words:
        return "too far ahead"
    if expected is not None and expected <= today:
        return f"any day, to {day_text(last)}" if last and last >= today else f"due from {day_text(expected)}"
    return window_text(batch, batch.pick)


def batch_sentences(batch: BatchView, *, is_warm: bool) -> list[str]:
    """What there is to say of a batch beyond its dates.

    Args:
        is_warm: Whether its box is kept so warm that it hurries the batch.
    """
    sowing, said = batch.sowing, []
    if batch.late_days > 0.0:
        days = "1 day" if round(batch.late_days) <= 1 else f"{batch.late_days:.0f} days"
        why = "; ".join(batch.reasons)
        said.append(
            f"{days} later than the 90 % interval. Likely: {why}. Or it is up and not written down: "
            f"propstick sow up {sowing.id}."
        )
    if batch.flower is not None:
        said.append(_flower_sentence(batch, is_warm=is_warm))
    if batch.next is not None:
        said.append(_next_sentence(batch))
    elif batch.next_words:
        said.append(f"next sowing: {batch.next_words}.")
    if sowing.yield_g is not None or sowing.yield_note:
        gave = [f"{sowing.yield_g} g"] if sowing.yield_g is not None else []
        said.append(f"gave {', '.join([*gave, *([sowing.yield_note] if sowing.yield_note else [])])}.")
    if batch.lasted_days is not None:
        said.append(f"picking lasted {'1 day' if batch.lasted_days == 1 else f'{batch.lasted_days} days'}.")
    if batch.pick_words and sowing.first_pick is None and sowing.cleared is None:
        has_days = batch.pick_words[0].isdigit()
        said.append(f"{'pick reckoned from' if has_days else 'pick:'} {batch.pick_words}.")
    said += [f"{note}." for note in batch.notes]
    return [one[0].upper() + one[1:] for one in said]


def _next_sentence(batch: BatchView) -> str:
    """When to sow next. What is due is due today: no day in the past is named as if it were to come."""
    assert batch.next is not None
    if batch.next_words.startswith("due"):
        return f"next sowing {batch.next_words}."
    day, last = batch.day(batch.next.sow.expected_s), batch.day(batch.next.sow.high_s)
    first = batch.day(batch.next.sow.low_s)
    interval = ""
    if first is not None and last is not None:
        begins = "today" if first <= batch.today else day_said(first)
        interval = f" (any day from {begins} to {day_said(last)} may prove right)"
    words = f"; {batch.next_words}" if batch.next_words else ""
    pick = day_said(batch.day(batch.next.pick_s))
    return f"next sowing {day_said(day)}{interval}, for a pick on {pick}{words}."


def _flower_sentence(batch: BatchView, *, is_warm: bool) -> str:
    assert batch.flower is not None
    from_day, reason = day_said(batch.day(batch.flower.window.low_s)), batch.flower.reason
    pick_s, flower_s = batch.pick.expected_s, batch.flower.window.expected_s
    hurry = ", earlier if the box stays shut" if is_warm else ""
    pick_day = batch.day(pick_s)
    waits = batch.sowing.first_pick is None and pick_day is not None
    if (low := batch.day(batch.flower.window.low_s)) is not None and low <= batch.today:
        begin = "pick it now: " if waits and pick_day <= batch.today else ""
        return f"{begin}it may flower any day ({reason}){hurry}."
    if pick_s is not None and flower_s is not None and flower_s < pick_s:
        return f"likely to flower from {from_day} ({reason}), before much is picked{hurry}."
    if waits and low is not None and low <= pick_day:
        return f"likely to flower from {from_day} ({reason}), hardly later than its first pick{hurry}."
    begin = "likely"
    if waits:
        begin = (
            "pick from now on, likely"
            if pick_day <= batch.today
            else f"pick from {day_said(pick_day)}, likely"
        )
    return f"{begin} to flower from {from_day} ({reason}){hurry}."


def is_warm(report: SeasonReport, box: str) -> bool:
    """Whether the box is so much warmer than outside that it hurries what stands in it."""
    for one in report.boxes:
        if one.box == box and one.head_start is not None:
            hours = one.head_start.hours
            return (one.head_start.inside_c_d - one.head_start.outside_c_d) / (hours / 24.0) >= HEATED_C
    return False


def box_sentences(box: BoxView) -> list[str]:
    """What there is to say of a box."""
    said = []
    if box.head_start is not None:
        said.append(f"{box.head_start.words()}.")
    if box.worth is not None:
        said.append(f"{box.worth_words}.")
    if box.water is not None:
        hint = "" if box.water.was_told else f" Tell each watering: propstick watered {box.box}."
        said.append(f"water: {box.water.words()}.{hint}")
    if box.sun is not None:
        hours = ", ".join(f"{hour}" for hour in box.sun.shaded)
        shade = f", in shade at {hours} h" if hours else ""
        months = ", ".join(f"{hours:.1f} in {day:%B}" for day, hours in box.sun_months)
        by_month = f" ({months})" if len(box.sun_months) > 1 else ""
        said.append(
            f"sun on it {box.sun.sun_h:.1f} h a day, the mean of {box.sun.days} days{by_month}{shade}."
        )
    return [one[0].upper() + one[1:] for one in said]


def left_open_sentences(report: SeasonReport) -> list[str]:
    """Batches of earlier seasons that nobody cleared, and what to do."""
    return [
        f"{one.crop} in {one.box}, sown {date_said(one.sown, report.day)}, was never cleared: "
        f"propstick sow cleared {one.id} DAY."
        for one in report.left_open if one.sown is not None
    ]  # fmt: skip


def closing_sentences(report: SeasonReport) -> list[str]:
    """Spots as their sun will change, and what the garden's own dates taught."""
    said = [words for one in report.spots if (words := spot_sentence(one, report.day.month))]
    if order := ranked([one.loose for one in report.spots if one.loose is not None]):
        said.append(order)
    told = any(one.startswith("whether a warm box") for one in report.siting.unknown)
    if len(report.siting.spots) > 1 and not told:  # of one spot there is nothing to compare
        said.append(report.apart.words[0].upper() + report.apart.words[1:] + ".")
    if words := report.emergence.words():
        said.append(f"Emergence in {words}.")
    return said


def warnings_sentence(report: SeasonReport) -> str:
    """How right the season's warnings were."""
    tally = report.warnings
    if not (tally.came or tally.withdrawn or tally.unannounced):
        hot = [one.box for one in report.boxes if one.worth is not None and one.worth.hot_hours > 0]
        if hot:
            return f"No warning is on record, though {', '.join(hot)} passed the limit: no watch was running."
        return "No warning was given, and nothing is on record that should have had one."
    return (
        f"Of what was foretold {tally.came} came and {tally.withdrawn} did not; "
        f"{tally.unannounced} came unannounced."
    )


def lessons(report: SeasonReport) -> list[str]:
    """What to do differently, from what the season shows; empty where it shows nothing."""
    found = []
    for box in report.boxes:
        if box.worth is not None and box.worth.verdict == "take-away":
            found.append(f"{box.box}: its cover could have gone sooner; see when it last saved a night.")
        elif box.worth is not None and box.worth.verdict == "air":
            found.append(f"{box.box}: open it further on sunny days; it was too hot for an hour a day.")
    late = sorted({one.sowing.crop for one in report.batches if one.late_days > 0.0})
    found += [
        f"{crop}: sow again where the soil is warmer, or later; a batch did not come up." for crop in late
    ]
    for one in report.batches:
        flowered, picked = one.sowing.flowering, one.sowing.first_pick
        if flowered is not None and (picked is None or (flowered - picked).days < 7):
            found.append(
                f"{one.sowing.crop}: sow earlier; batch {one.sowing.id} flowered before it gave much."
            )
    if report.emergence.seen:
        slower = report.emergence.middle
        if slower > 1.1:
            found.append(
                f"Reckon {100 * (slower - 1):.0f} % more days to come up than printed, as this garden does."
            )
        elif slower < 0.9:
            found.append(
                f"Reckon {100 * (1 - slower):.0f} % fewer days to come up than printed, as this garden does."
            )
    return found
