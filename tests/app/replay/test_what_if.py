"""What-if in replay: what is asked, of which stretch, and that the answer goes the way the world does."""

from datetime import date, time

import pytest

from propstick.app import recording
from propstick.app.replay.garden import garden_of, site_of
from propstick.app.replay.run import replay, state_before
from propstick.app.replay.what_if import Asked, answer, asked_of, moment_of, stretch_of
from propstick.errors import InputError
from propstick.garden import Site
from propstick.times import utc_text

SITE = site_of("53.35,-6.26,Europe/Dublin", unit="C")


def test_asked():
    """Box, action, clock."""
    assert asked_of(" north  closed 7:30 ", ("north",)) == Asked("north", "closed", time(7, 30))


@pytest.mark.parametrize(
    "text", ["", "north closed", "north shut 17:30", "north closed 25:00", "south open 10:00"]
)
def test_asked_otherwise(text):
    """Refused in one line."""
    with pytest.raises(InputError):
        asked_of(text, ("north",))


def test_the_clock_counts_from_the_noon_before_a_night():
    """16:30 is that afternoon, 06:00 the morning after; on the clock there."""
    day, site = date(2026, 4, 12), Site(zone="Europe/Dublin")
    assert utc_text(moment_of(Asked("n", "open", time(16, 30)), site, day)) == "2026-04-12T15:30:00Z"
    assert utc_text(moment_of(Asked("n", "open", time(6)), site, day)) == "2026-04-13T05:00:00Z"


def test_stretch(spring_report):
    """To the night's end; without a night in the last one that was seen whole and has such a time."""
    asked = Asked("north", "open", time(21))
    at_s, end_s = stretch_of(asked, spring_report, date(2026, 4, 11))
    assert utc_text(at_s) == "2026-04-11T20:00:00Z"
    assert "2026-04-12T06:" in utc_text(end_s)
    at_s, end_s = stretch_of(Asked("north", "open", time(9)), spring_report, None)
    assert utc_text(at_s) == "2026-04-12T08:00:00Z"
    at_s, end_s = stretch_of(asked, spring_report, None)
    assert utc_text(at_s) == "2026-04-12T20:00:00Z"
    assert "2026-04-13T06:" in utc_text(end_s)
    with pytest.raises(InputError, match="09:00"):
        stretch_of(Asked("north", "open", time(9)), spring_report, date(2026, 4, 20))


@pytest.mark.slow
def test_an_open_lid_cools_a_box_by_night_and_nothing_changed_changes_nothing(spring_csv):
    """A box some degrees warmer than outside: open it falls towards outside, shut it stays as it was."""
    found = recording.read(spring_csv(hours=44).encode())
    garden = garden_of(found, site=SITE)
    report = replay(found, garden)

    def lowest(action, clock):
        asked = Asked("north", action, clock)
        at_s, end_s = stretch_of(asked, report, date(2026, 4, 12))
        return answer(
            asked,
            report,
            at_s=at_s,
            end_s=end_s,
            state_before=lambda row_s: state_before(found, garden, row_s),
        )

    shut, opened = lowest("closed", time(21)), lowest("open", time(21))
    assert shut["min_c"] == shut["observed_min_c"] == shut["low_c"]
    assert opened["min_c"] <= shut["min_c"]
    assert opened["low_c"] <= opened["min_c"] <= opened["high_c"]
    assert {
        "box",
        "action",
        "at",
        "min_c",
        "low_c",
        "high_c",
        "max_c",
        "observed_min_c",
        "curve",
    } == opened.keys()
    assert opened["curve"][0]["time"] == opened["at"] == "2026-04-12T20:00:00Z"
    noon = lowest("open", time(12))
    assert noon["max_c"] < max(one.value_c for one in report.days)


def test_no_answer_without_the_open_ground():
    """Nothing outside: the two runs would be guesses."""
    text = "time,north.air\n" + "".join(
        f"2026-04-12T{h:02d}:{m:02d}:00Z,9\n" for h in range(4) for m in range(60)
    )
    found = recording.read(text.encode())
    garden = garden_of(found, site=SITE)
    report = replay(found, garden)
    asked = Asked("north", "open", time(2))
    at_s, end_s = stretch_of(asked, report, None)
    state = state_before(found, garden, at_s)
    with pytest.raises(InputError, match="none outside"):
        answer(asked, report, at_s=at_s, end_s=end_s, state_before=lambda _: state)
