"""The sentence in the states a garden can be in."""

import pytest

from propstick.engine.brief_words import NO_FORECAST
from propstick.garden import Garden, Site
from propstick_api.live import Health
from propstick_api.page.alarms_part import alarm_list
from propstick_api.page.home import _advice, _is_tonight, _picture, about_words
from propstick_api.page.reading import Reading, has_decimal_comma, span_words
from propstick_api.page.sentence import sentence, standing_advice

READING = Reading(Garden(site=Site(zone="Europe/Dublin")))
GOOD = Health("watching", "", 1_776_067_200, 20, 60)
VIEW = {"boxes": [], "asked": [], "step_s": 60}
NOW_S = 1_776_067_200  # 2026-04-13T08:00:00Z, nine o'clock in Dublin


def _box(name="north", *, advice=None, opening=0.0, age_s=0):
    return {
        "box": name, "air": {"value": 8.0, "age_s": age_s}, "lid": {"opening": opening}, "cover": None,
        "advice": advice, "forecast": {"night": None},
    }  # fmt: skip


def _line(advice, by=None, opening=None):
    return {"box": "north", "advice": advice, "by": by, "opening": opening}


def _alarm(kind="heat", *, box="north", state="unacknowledged", severity="Moderate"):
    return {
        "id": f"{box}.{kind}.1", "box": box, "kind": kind, "state": state, "severity": severity,
        "urgency": "Immediate", "raised": "2026-04-13T07:00:00Z", "message": f"{box} has {kind}.",
    }  # fmt: skip


def _said(*boxes, alarms=(), asked=(), health=GOOD):
    view = {"boxes": list(boxes or [_box()]), "alarms": list(alarms), "asked": list(asked), "step_s": 60}
    return sentence(view, health, READING, now_s=NOW_S)


def test_nothing():
    """All well."""
    assert _said() == "No: nothing needs you now."


def test_alarms_come_before_advice_and_several_boxes_are_named():
    """The message of the first, the names of all."""
    advice = _line("open", "2026-04-13T09:30:00Z")
    two = [_alarm(), _alarm("frost", box="lane")]
    assert _said(_box(advice=advice), alarms=two[:1]) == "Yes: north has heat. Now it is 8.0 °C."
    assert _said(alarms=two) == "Yes: north and lane need you. First: north has heat. Now it is 8.0 °C."


@pytest.mark.parametrize(
    ("by", "said"),
    [
        ("2026-04-13T09:30:00Z", "Soon: open north by 10:30."),
        ("2026-04-13T07:30:00Z", "Yes: open north — it was due by 08:30."),
        (None, "Yes: open north, when you can."),
    ],
)
def test_advice_that_is_not_followed_is_due(by, said):
    """Before and after its time; nothing more of it once the lid is there."""
    assert _said(_box(advice=_line("open", by))) == said
    assert _said(_box(advice=_line("open", by), opening=1.0)) == "No: nothing needs you now."


def test_seen_alarms_and_small_ones_do_not_shout():
    """Seen or asked for: said so. Minor: can wait. Shelved: not at all."""
    asked = [{"kind": "acknowledge", "body": {"id": "north.heat.1"}}]
    seen = "Nothing new: you have seen it, and it still stands. north has heat."
    assert _said(alarms=[_alarm(state="acknowledged")]) == seen
    assert _said(alarms=[_alarm()], asked=asked) == seen
    small = _alarm("soil-cold", severity="Minor")
    assert _said(alarms=[small]) == "Nothing presses. It can wait: north has soil-cold."
    assert _said(alarms=[_alarm(state="shelved")]) == "No: nothing needs you now."


def test_a_silent_box_is_never_a_plain_no():
    """Its last air reading is half an hour old."""
    assert _said(_box(age_s=1900)).startswith("Perhaps: north gives no fresh air reading.")


def test_old_data_and_no_data_cannot_say():
    """Whatever the rows said, they are not now."""
    late = Health("late", "", NOW_S - 7200, 7200, 60)
    assert _said(health=late) == "Cannot say: what is shown here is 2 hours old. Go and look."
    assert "north needed you" in _said(health=late, alarms=[_alarm()])
    none = Health("not-started", "", None, None, 60)
    assert sentence(None, none, READING, now_s=NOW_S).startswith("Cannot say")


@pytest.mark.parametrize(
    ("language", "comma"),
    [
        ("de", True),
        ("de-CH,de;q=0.9", False),
        ("en-GB,de;q=0.5", False),
        ("fr-FR", True),
        ("", False),
        ("*", False),
    ],
)
def test_decimal_sign_by_language(language, comma):
    """Unicode CLDR: a comma in German and French, a point in English and in German as the Swiss write it."""
    assert has_decimal_comma(language) is comma


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "0 seconds"),
        (1, "1 second"),
        (80, "80 seconds"),
        (100, "2 minutes"),
        (7200, "2 hours"),
        (200_000, "2 days"),
    ],
)
def test_spans(seconds, said):
    """No finer than a glance needs."""
    assert span_words(seconds) == said


def test_boxes_that_need_the_same_hand_are_told_in_one_breath():
    """What to do and where, then the reason of the first. Different deeds are not thrown together."""
    ahead = "{box} may fall below 1 °C tonight, about −1.0 °C expected: cover it."
    boxes = ("north", "lane", "pump")
    alarms = [_alarm("frost-ahead", box=b) | {"message": ahead.format(box=b)} for b in boxes]
    said = _said(_box("north"), _box("lane"), _box("pump"), alarms=alarms)
    assert said == (
        "Yes: cover north, lane and pump. First: north may fall below 1 °C tonight, about −1.0 °C expected."
    )
    alarms[1]["message"] = "lane is at 28.0 °C, over 27 °C: open it."
    assert _said(alarms=alarms).startswith("Yes: north, lane and pump need you. First: north may fall")
    hot = [_alarm(box=b) | {"message": f"{b} is at 28.0 °C, over 27 °C: open it."} for b in ("north", "lane")]
    assert _said(alarms=hot).endswith("First: north is at 28.0 °C, over 27 °C. Now it is 8.0 °C.")


def test_this_mornings_advice_is_none_once_the_evening_has_spoken():
    """The brief passes over a box that fell silent: what the morning said of it is no deed of tonight."""
    morning = _line("prop", "2026-04-13T06:00:00Z", 0.1) | {"issued": "2026-04-13T05:30:00Z"}
    morning["reason"] = "if shut, about 25 °C"
    box = _box(advice=morning, opening=0.1)
    assert standing_advice(box, {"brief": {"issued": "2026-04-13T05:30:00Z"}}) is morning
    assert standing_advice(box, {"brief": {"issued": "2026-04-13T17:30:00Z"}}) is None


def test_a_silent_box_is_named_beside_what_is_due():
    """It may stand open, and nothing else on the page would say so."""
    said = _said(_box("lane", advice=_line("close"), opening=1.0), _box(age_s=1900))
    assert said.startswith("Yes: close north, when you can.")
    assert said.endswith("Nor does north give a fresh air reading: go and look.")


def test_a_lid_that_is_shut_is_not_to_be_shut_again():
    """Only the cover is missing."""
    line = _line("cover", opening=0.0)
    assert _said(_box(advice=line)) == "Yes: cover north, when you can."
    assert _said(_box(advice=line, opening=1.0)) == "Yes: close and cover north, when you can."


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (1, "5 minutes"),
        (33, "35 minutes"),
        (50, "50 minutes"),
        (58, "60 minutes"),
        (79, "an hour and a half"),
        (118, "2 hours"),
        (175, "3 hours"),
    ],
)
def test_a_slope_tells_no_minute(minutes, said):
    """79 minutes to a limit at this hour's slope is nobody's knowledge."""
    assert about_words(minutes) == said


def test_what_was_foretold_is_not_shown_as_measured():
    """−1.3 °C at 22:25 was an expectation of that hour; the frost alarm's own worst was felt by a probe."""
    peak = {"peak_c": -1.3, "peak_at": "2026-04-13T07:30:00Z", "begun": "2026-04-13T07:00:00Z"}
    alarm = _alarm("frost-ahead") | peak | {"shelved_until": None}
    shown = str(alarm_list([alarm], VIEW, READING, now_s=NOW_S))
    assert "at worst −1.3 °C expected, foretold at 08:30" in shown
    shown = str(alarm_list([alarm | {"kind": "frost"}], VIEW, READING, now_s=NOW_S))
    assert "; worst −1.3 °C at 08:30" in shown


def test_the_next_step_of_a_shut_lid_is_its_cover():
    """`Lid shut; next shut` says nothing."""
    box = _box(advice=_line("cover", opening=0.0)) | {"lid": {"opening": 0.0, "from": "told"}}
    assert "next covered" in str(_picture(box, box["advice"], is_night=True))
    assert "next shut" not in str(_picture(box, box["advice"], is_night=True))


def test_soil_is_said_as_it_is_now_too():
    """The message has the figure of last evening."""
    soil = {"value": 6.0, "age_s": 0}
    alarm = _alarm("soil-cold", severity="Minor") | {"message": "the soil in north is at 9.3 °C: it waits."}
    said = _said(_box() | {"soil": soil}, alarms=[alarm])
    assert said == "Nothing presses. It can wait: the soil in north is at 9.3 °C: it waits. Now it is 6.0 °C."


@pytest.mark.parametrize(
    ("night", "now", "is_night", "tonight"),
    [
        ("2026-03-18", "2026-03-18T20:00:00Z", True, True),
        ("2026-03-18", "2026-03-19T05:00:00Z", True, True),
        ("2026-03-18", "2026-03-19T10:00:00Z", False, False),
        ("2026-03-19", "2026-03-19T16:30:00Z", False, True),
    ],
)
def test_last_night_is_not_called_tonight(night, now, is_night, tonight):
    """By day the newest forecast may be of the night that is over."""
    box = {"forecast": {"night": {"night": night}}}
    assert _is_tonight(box, {"time": now, "zone": "Europe/Dublin"}, is_night) is tonight


def test_no_forecast_yet_is_said_until_there_is_one():
    line = _line("leave") | {"reason": NO_FORECAST, "issued": "2026-04-12T17:00:00Z"}
    box = _box(advice=line) | {"forecast": {"night": None}}
    view = {"brief": {"issued": line["issued"]}}
    assert standing_advice(box, view) is line
    before, since = {"issued": "2026-04-12T16:00:00Z"}, {"issued": "2026-04-12T19:20:00Z"}
    assert standing_advice(box | {"forecast": {"night": before}}, view) is line
    assert standing_advice(box | {"forecast": {"night": since}}, view) is None


def test_a_brief_that_foresaw_nothing_is_no_advice_to_leave_the_lid():
    line = _line("leave") | {"reason": NO_FORECAST}
    assert "No forecast yet: judge by the sky." in str(_advice(_box(advice=line), line, READING, []))
    known = line | {"reason": "about 6 °C, within its limits"}
    assert "Leave north as it is: about 6 °C" in str(_advice(_box(advice=known), known, READING, []))
