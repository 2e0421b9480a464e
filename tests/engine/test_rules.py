"""Each rule raises on what it is for, returns as it should, and on nothing else."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.engine.pipeline import begin
from propstick.garden import Box, Garden, Probe, Site, Sowing
from propstick.limits import Limits
from propstick.news import LidTold, Trouble

NOON_S = 1_772_409_600 + 12 * 3600


def at(minute):
    return NOON_S + 60 * minute


def test_heat_is_raised_when_the_on_delay_is_met_and_begins_at_its_first_row(live):
    """On-delay 120 s: past the limit at minutes 10, 11, 12 raises at 12; `begun` is minute 10."""
    said = live([25.0] * 10 + [28.0, 28.5, 29.0, 28.0])
    (alarm,) = [c.alarm for c in said.of("heat") if c.event == "raised"]
    assert (alarm.raised_s, alarm.begun_s) == (at(12), at(10))
    assert alarm.limit_c == 27.0
    assert alarm.id == "north.heat.20260302T121200Z"


def test_a_short_crossing_needs_no_action(live):
    """On-delay is for crossings too short to act on (I4: control maker's article on alarm delays)."""
    assert live([25.0] * 10 + [28.0, 28.0, 26.5, 28.0, 28.0, 25.0]).kinds() == []


def test_the_setpoint_itself_is_not_past_it(live):
    """A crossing begins above, not at, the setpoint."""
    assert live([27.0] * 30).kinds() == []


def test_an_alarm_returns_only_past_the_deadband_for_the_off_delay(live):
    """OPC UA Part 9 B.1.5: back past the limit by the deadband; then the off-delay of 300 s."""
    air = [28.0] * 5 + [26.5] * 30 + [26.0] * 3 + [26.5] + [26.0] * 7
    said = live(air)
    (returned,) = [c for c in said.changes if c.event == "returned"]
    assert returned.time_s == at(5 + 30 + 3 + 1 + 5)
    assert returned.alarm.state == "normal"
    assert returned.alarm.peak_c == 28.0


def test_frost_is_the_mirror_of_heat(live):
    """Below the limit, back above it by the deadband; the peak is the lowest."""
    said = live([3.0] * 5 + [0.5, 0.0, -0.5, -1.0] + [1.5] * 10 + [2.0] * 10)
    (raised,) = [c.alarm for c in said.of("frost") if c.event == "raised"]
    (returned,) = [c for c in said.of("frost") if c.event == "returned"]
    assert (raised.begun_s, raised.raised_s) == (at(5), at(7))
    assert returned.time_s == at(19 + 5)
    assert returned.alarm.peak_c == -1.0


def test_a_lost_reading_changes_nothing_and_a_long_silence_is_not_knowing(live):
    """Gaps up to ten minutes keep the condition; after longer ones the on-delay starts afresh."""
    nan = np.nan
    assert [c.alarm.begun_s for c in live([25.0, 28.0, nan, 28.0, 28.0]).of("heat")][:1] == [at(1)]
    said = live([25.0, 28.0, *[nan] * 15, 28.0, 28.0, 28.0])
    assert [c.alarm.begun_s for c in said.of("heat") if c.event == "raised"] == [at(17)]


def test_a_silent_probe_never_returns_an_alarm(live):
    """Not knowing is an alarm of its own; the old one stands."""
    said = live([29.0] * 10 + [np.nan] * 120)
    assert said.kinds() == ["heat", "probe-silent"]
    assert said.kinds("returned") == []
    assert {a.kind for a in said.state.open_alarms} == {"heat", "probe-silent"}


def test_a_flagged_value_neither_raises_nor_clears(live):
    """Values flagged at the edge are not looked at: 85 °C raises nothing, 10 °C clears nothing."""
    bits = {(i, "air"): Flag.POWER_ON for i in range(5, 25)}
    assert live([20.0] * 5 + [85.0] * 20 + [20.0] * 5, flags=bits).of("heat") == []
    bits = {(i, "air"): Flag.CHECKSUM for i in range(5, 14)}
    said = live([29.0] * 5 + [10.0] * 9 + [29.0] * 3, flags=bits)
    assert said.kinds() == ["heat"]
    assert said.kinds("returned") == []


def test_fast_rise_speaks_before_the_limit(live):
    """8 °C in 15 minutes within 8 °C of the setpoint; far below it a steep rise is nobody's trouble."""
    rise = list(np.round(14 + np.arange(25) * 0.6, 2))
    assert live([14.0] * 20 + rise[:20]).kinds() == ["fast-rise"]
    assert live([2.0] * 20 + [v - 12 for v in rise]).kinds() == []


def test_fast_rise_needs_readings_as_close_as_its_window(lone, live):
    """An hourly recording steps by 10 °C at sunrise; that is no rate of change in 15 minutes."""
    hourly = replace(lone, probes=(replace(lone.probes[0], every_s=3600.0),))
    air = np.full(600, np.nan)
    air[::60] = [3, 3, 3, 14, 22, 24, 25, 26, 26, 26]
    assert live(air, garden=hourly).kinds() == []


def test_limits_change_at_midnight_with_what_is_sown(lone, live):
    """A batch cleared today leaves the box empty: no heat, no frost from that local date on."""
    empty_tomorrow = replace(lone, sowings=(Sowing(id="1", box="north", cleared=date(2026, 3, 3)),))
    frost = [0.0] * 60
    late = NOON_S + 11 * 3600 + 1800
    said = live(frost + frost, garden=empty_tomorrow, start_s=late)
    changes = [(c.event, c.time_s) for c in said.of("frost")]
    midnight = NOON_S + 12 * 3600
    assert changes[0] == ("raised", late + 120)
    assert ("suppressed", midnight) in changes
    assert live(frost, garden=empty_tomorrow, start_s=midnight).kinds() == []


def test_soil_limits_apply_until_emergence_and_are_not_pushed(lone, live):
    """Soil too cold for seed is said in the brief; once seedlings are up nobody asks."""
    garden = replace(
        lone,
        probes=(*lone.probes, Probe(id="soil", box="north", place="soil")),
        limits=Limits(soil_cold_c=5.0),
    )
    soil = {"soil": [4.0] * 60}
    said = live([12.0] * 60, garden=garden, columns=soil)
    assert said.kinds() == ["soil-cold"]
    assert said.notices == ()
    up = replace(garden, sowings=(Sowing(id="1", box="north", up=date(2026, 3, 1)),))
    assert live([12.0] * 60, garden=up, columns=soil).kinds() == []


def test_a_moisture_probe_tells_of_dry_soil_in_the_brief_until_it_is_watered(lone, live):
    """Half an hour below its limit; over once it is past the deadband of 3 % for half an hour; no push."""
    garden = replace(
        lone,
        probes=(*lone.probes, Probe(id="wet", box="north", place="moisture")),
        limits=Limits(dry_pct=30.0),
    )
    air = [12.0 + 0.01 * (k % 7) for k in range(120)]
    said = live(air, garden=garden, columns={"wet": [31.0] * 10 + [29.0] * 50 + [32.0] * 10 + [40.0] * 50})
    assert [(c.event, c.time_s) for c in said.of("dry")] == [
        ("raised", at(10 + 30)),
        ("returned", at(70 + 30)),
    ]
    assert said.notices == ()
    (alarm,) = [c.alarm for c in said.of("dry") if c.event == "raised"]
    assert (alarm.place, alarm.value_c, alarm.limit_c) == ("moisture", None, None)
    assert "north" in alarm.message
    assert "water it" in alarm.message
    empty = replace(garden, sowings=(Sowing(id="1", box="north", cleared=date(2026, 3, 1)),))
    assert live(air, garden=empty, columns={"wet": [10.0] * 120}).kinds() == []


def test_no_shelter_takes_hours_and_an_open_lid_explains_it(lone, live):
    """Colder inside than outside for three hours; suppressed by design while the lid is open."""
    garden = replace(lone, probes=(*lone.probes, Probe(id="out", box="outside", place="air")))
    air, outside = (
        [8.0 + 0.01 * (k % 7) for k in range(300)],
        {"out": [10.0 + 0.01 * (k % 5) for k in range(300)]},
    )
    said = live(air, garden=garden, columns=outside)
    assert [(c.alarm.kind, c.time_s) for c in said.changes] == [("no-shelter", at(180))]
    told = (LidTold(time_s=NOON_S, box="north", opening=0.5),)
    assert live(air, garden=garden, columns=outside, news=told).kinds() == []
    closed = (*told, LidTold(time_s=at(240), box="north", opening=0.0))
    said = live(air, garden=garden, columns=outside, news=closed)
    assert [c.time_s for c in said.of("no-shelter")] == [at(240)]


@pytest.mark.parametrize(
    ("soil_c", "lane_c", "lane_lid", "raised"),
    [
        (14.0, 11.5, None, ["north"]),  # the other box shelters, the ground is warm
        (10.5, 11.5, None, []),  # cold ground explains it
        (14.0, 9.0, None, []),  # the other box is as cold: the outside has warmed, or its probe is wrong
        (14.0, 9.0, 0.5, ["north"]),  # the other box is open, and shows nothing
    ],
)
def test_a_box_is_colder_than_outside_by_itself_or_for_ground_and_weather(
    lone, live, soil_c, lane_c, lane_lid, raised
):
    """Ten degrees outside, eight in north: three hours of it are told unless ground or weather explain it."""
    places = [("soil", "north", "soil"), ("lane", "lane", "air"), ("out", "outside", "air")]
    garden = replace(
        lone,
        boxes=(*lone.boxes, Box(name="lane")),
        probes=(*lone.probes, *(Probe(id=name, box=box, place=place) for name, box, place in places)),
    )
    wave = np.array([0.01 * (k % 7) for k in range(300)])
    said = live(
        list(8.0 + wave),
        garden=garden,
        columns={"soil": list(soil_c + wave), "lane": list(lane_c + wave), "out": list(10.0 + wave)},
        news=() if lane_lid is None else (LidTold(time_s=NOON_S, box="lane", opening=lane_lid),),
    )
    assert [c.alarm.box for c in said.of("no-shelter")] == raised


def test_two_probes_of_a_place_that_differ_for_an_hour_disagree(lone, live):
    """More than 3 °C apart; which one is wrong nobody can tell, so the alarm names the place."""
    garden = replace(lone, probes=(*lone.probes, Probe(id="b", box="north", place="air")))
    wave = [15 + 0.05 * (k % 9) for k in range(90)]
    said = live(wave, garden=garden, columns={"b": [v + 4 for v in wave]})
    (alarm,) = [c.alarm for c in said.changes if c.event == "raised"]
    assert (alarm.kind, alarm.probe, alarm.raised_s) == ("probe-disagrees", None, at(60))


def test_a_soil_probe_that_swings_with_the_air_is_out_of_the_soil(feed, table):
    """Two days on which it swings as the air does; a probe in the ground swings a third as much."""
    garden = Garden(
        site=Site(latitude=52.0, longitude=0.0, zone="Etc/UTC"),
        boxes=(Box(name="north"),),
        probes=(Probe(id="air", box="north", place="air"), Probe(id="soil", box="north", place="soil")),
        sowings=(Sowing(id="1", box="north"),),
    )
    k = np.arange(4 * 1440)
    air = 12 - 8 * np.cos(2 * np.pi * k / 1440) + 0.06 * (k % 3)

    def kinds(soil):
        block = table(NOON_S - 12 * 3600, 60, {"air": air, "soil": soil})
        return feed(begin(garden, foresight=False), [block]).kinds()

    assert kinds(11 - 2.5 * np.cos(2 * np.pi * (k - 180) / 1440) + 0.06 * (k % 3)) == []
    assert kinds(air + 0.5) == ["probe-disagrees"]


@pytest.mark.parametrize("kind", ["watch-late", "clock-unset", "store-trouble", "push-trouble"])
def test_the_watch_reports_its_own_trouble(live, kind):
    """Raised with the row, once however often it is repeated, returned when it is over."""
    news = [Trouble(time_s=at(k), kind=kind, active=True, detail="why") for k in (3, 4, 5)]
    news.append(Trouble(time_s=at(6), kind=kind, active=False))
    said = live([10.0 + 0.01 * k for k in range(10)], news=news)
    assert [(c.event, c.time_s) for c in said.changes] == [("raised", at(3)), ("returned", at(6))]
    assert said.changes[0].alarm.box == "site"
    assert "why" in said.changes[0].alarm.message
    assert [n.kinds for n in said.notices] == ([(kind,)] if kind == "store-trouble" else [])


def test_a_chattering_alarm_waits_longer_before_it_returns(live):
    """Three times within half an hour: the off-delay grows, and the coming and going stops."""
    once = [28.0] * 3 + [25.0] * 6
    said = live(once * 8)
    assert len([c for c in said.of("heat") if c.event == "raised"]) == 3


def test_an_alarm_of_a_day_is_stale(live):
    """In alarm without a break over 24 h (ISA-18.2): said once on record, not pushed again."""
    said = live([29.0 + 0.01 * (k % 5) for k in range(1500)])
    assert [c.time_s for c in said.of("heat") if c.event == "updated"][-1] == at(2 + 1440)
    assert len(said.notices) == 1


def with_loose(lone):
    """The lone box with two loose probes on one bare spot."""
    loose = tuple(Probe(id=f"loose{k}", box="site", place="air", spot="lane") for k in (1, 2))
    return replace(lone, probes=(*lone.probes, *loose))


def test_a_loose_probe_in_the_sun_stuck_leaping_or_at_odds_raises_nothing(live, lone):
    """Fifty degrees, seven hours unchanged, a leap, thirty degrees apart: no alarm, no part in a box."""
    n = 480
    first = np.full(n, 50.0)
    first[450:452] = -5.0
    columns = {"loose1": first, "loose2": np.full(n, 20.0)}
    air = 15.0 + 0.5 * np.sin(np.arange(n) / 20.0)
    said = live(list(air), garden=with_loose(lone), columns=columns)
    assert said.kinds() == []
    assert [one.box for one in said.now] == ["north", "outside"]
    assert said.now[0].air_c == pytest.approx(air[-1], abs=0.006)


def test_a_loose_probe_that_falls_silent_is_told_as_one_and_waits_for_the_brief(live, lone):
    gone = [20.0] * 10 + [np.nan] * 20
    said = live([15.0 + 0.1 * (k % 3) for k in range(30)], garden=with_loose(lone), columns={
        "loose1": gone, "loose2": [20.0 + 0.1 * (k % 3) for k in range(30)]})  # fmt: skip
    (alarm,) = [change.alarm for change in said.of("probe-silent")]
    assert (alarm.box, alarm.place, alarm.probe) == ("site", "air", "loose1")
    assert alarm.message.startswith("the loose probe on lane gives no reading (loose1)")
    assert said.notices == ()
