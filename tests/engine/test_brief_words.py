"""A brief reads as a tired person would say it: deeds first, boxes joined, figures that do not contradict."""

from dataclasses import replace

import pytest

from propstick.engine.advice import CLOSED, OPEN, PROPPED, Choice
from propstick.engine.brief_words import BRIEF_LENGTH, NO_FORECAST, advice_reason, brief_text
from propstick.engine.wording import Speech
from propstick.garden import Site
from propstick.records import BriefLine

EIGHT_S = 1_772_409_600 + 8 * 3600


@pytest.fixture
def speech(lone):
    return Speech(lone)


@pytest.fixture
def fahrenheit(lone):
    return Speech(replace(lone, site=Site(unit="F")))


def sunny(box, shut, opened, *, by_s=EIGHT_S):
    reason = f"if shut, sun would bring about {shut} °C; open {opened} °C"
    return BriefLine(box=box, advice="open", opening=1.0, reason=reason, by_s=by_s)


def test_one_two_and_three_boxes_share_a_sentence(speech):
    lines = [sunny("north", 35, 15), sunny("lane", 29, 15), sunny("pump", 40, 15)]
    said = [brief_text("morning", lines[:k], [], speech) for k in (1, 2, 3)]
    assert said == [
        "Morning: Open north by 08:00: if shut, sun would bring about 35 °C; open 15 °C.",
        "Morning: Open north and lane by 08:00: if shut, sun would bring about 35 and 29 °C; open 15 °C.",
        "Morning: Open north, lane and pump by 08:00: if shut, sun would bring about 35, 29 and 40 °C; "
        "open 15 °C.",
    ]


def test_frost_below_zero_keeps_its_sign(speech):
    lines = [
        BriefLine(box=box, advice="cover", reason=f"will fall below {limit} °C tonight: about {low} °C")
        for box, limit, low in (("north", "1", "−1"), ("lane", "−2", "−4"))
    ]
    assert brief_text("evening", lines, [], speech) == (
        "Evening: Close and cover north and lane: will fall below 1 and −2 °C tonight: about −1 and −4 °C."
    )


def test_a_quiet_day_says_so(speech):
    left = [BriefLine(box=box, advice="leave", reason="within its limits") for box in ("north", "lane")]
    assert brief_text("evening", left[:1], [], speech) == "Evening: Nothing to do."
    assert (
        brief_text("evening", left, [], speech) == "Evening: Nothing to do; leave north and lane as they are."
    )
    assert brief_text("morning", [], [], speech) == "Morning: Nothing to do."


def test_sixteen_boxes_fit_a_phone_and_no_deed_is_left_out(speech):
    lines = [sunny(f"bed-{k}", 20 + k, 10 + k) for k in range(16)]
    troubles = [
        f"The air probe in bed-{k} gives no reading (28-0000000000{k:02d}): check it." for k in range(5)
    ]
    text = brief_text("morning", lines, troubles, speech)
    assert len(text) <= BRIEF_LENGTH
    assert all(line.box in text for line in lines)
    assert "bed-0 gives no reading" in text
    assert text.endswith("4 more to see to.")


def test_troubles_beyond_the_first_are_counted_before_a_reason_goes(speech):
    troubles = [f"The air probe in bed-{k} gives no reading: check its cable or battery." for k in range(5)]
    text = brief_text("morning", [sunny("north", 35, 15)], troubles, speech)
    assert "sun would bring" in text
    assert text.endswith("bed-0 gives no reading: check its cable or battery. 4 more to see to.")
    assert brief_text("morning", [], troubles[:1] * 2, speech).count("gives no reading") == 1


def test_a_frost_that_may_come_is_not_said_to_be_above_its_own_limit(speech):
    """1.6 °C expected with a limit of 1 °C: it may, and 2 is not under 1."""
    may = Choice("cover", "frost", CLOSED, 1.6, 1.0, 2.7)
    will = Choice("cover", "frost", CLOSED, -1.2, 1.0, 0.9)
    edge = Choice("cover", "frost", CLOSED, 0.8, 1.0, 1.2)
    assert [advice_reason(choice, speech) for choice in (may, will, edge)] == [
        "may fall below 1 °C tonight: about 2 °C; covered 3 °C",
        "will fall below 1 °C tonight: about −1 °C; covered 1 °C",
        "may fall below 1 °C tonight: about 1 °C",
    ]


def test_a_gain_too_small_to_show_is_not_shown(speech, fahrenheit):
    small = Choice("close", "chill", CLOSED, 4.6, 4.4, 5.3)
    assert advice_reason(small, speech) == "about 5 °C tonight"
    assert advice_reason(small, fahrenheit) == "about 40 °F if left; shut 42 °F"


def test_how_sure_the_sun_is(speech):
    said = [
        advice_reason(Choice("open", "heat", OPEN, 35.0, 27.0, 15.0), speech),
        advice_reason(Choice("prop", "warm", PROPPED, 25.0, 24.0, 18.0), speech),
        advice_reason(Choice("prop", "risk", PROPPED, 33.0, 27.0, 14.0), speech),
    ]
    assert said == [
        "if shut, sun would bring about 35 °C; open 15 °C",
        "if shut, sun may bring about 25 °C; propped 18 °C",
        "if shut, sun might bring as much as 33 °C; propped 14 °C",
    ]


def test_a_night_of_which_nothing_is_foreseen_is_not_one_with_nothing_to_do(speech):
    blind = [BriefLine(box=name, advice="leave", reason=NO_FORECAST) for name in ("north", "lane")]
    calm = BriefLine(box="pump", advice="leave", reason="about 6 °C, within its limits")
    assert brief_text("evening", blind, [], speech) == (
        "Evening: No forecast yet for north and lane: judge by the sky."
    )
    assert brief_text("evening", [*blind, calm], [], speech).endswith("judge by the sky. Leave pump.")
