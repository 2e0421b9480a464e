"""Hardening off from a real store: the plan, and its line in the evening brief (Newark 2013)."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from propstick.app import cli
from propstick.app.season.brief import with_season
from propstick.app.season.hardening import plan_for
from propstick.app.season.sown import Sown
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.requests import Requests
from propstick.errors import InputError
from propstick.garden import OUTSIDE
from propstick.growing.hardening import DAY_OPENINGS, NIGHT_OPENINGS
from propstick.news import HardeningTold
from propstick.records import Brief, BriefLine, LidOpening, NightForecast, Outcome

pytestmark = pytest.mark.slow


def test_hardening_goes_by_the_newest_forecast_outside(spring):
    now_s = int(datetime(2013, 4, 10, 22, tzinfo=UTC).timestamp())

    def tonight():
        return plan_for(spring.store, spring.garden, "north", now_s, done=5)[0]

    assert tonight().at_night == 0.0
    forecast = NightForecast(
        box=OUTSIDE, night=date(2013, 4, 10), issued_s=now_s - 600, min_c=9.0, low_c=6.0, high_c=11.0,
        p_frost=0.0,
    )  # fmt: skip
    outcome = Outcome(nights=(forecast,))
    Journal(spring.store, "spring").commit(row_s=now_s - 600, readings=(), outcome=outcome)
    assert tonight().at_night == 0.3
    with pytest.raises(InputError, match="expected one of north"):
        plan_for(spring.store, spring.garden, "nrth", now_s)


def test_hardening_counts_the_days_the_recorded_lid_stood_open(spring):
    """Three days opened a little further each, the fourth forgotten: the plan waits at its fourth day."""
    zone_h = 4  # Newark's clock in April is four hours behind UTC
    lids = []
    for day, opening in ((6, 0.1), (7, 0.3), (8, 0.5)):
        for hour, value in ((8, opening), (18, 0.0)):
            time_s = int(datetime(2013, 4, day, hour + zone_h, tzinfo=UTC).timestamp())
            lids.append(LidOpening(box="north", time_s=time_s, opening=value, known_from="told"))
    Journal(spring.store, "spring").commit(
        row_s=lids[-1].time_s, readings=(), outcome=Outcome(lids=tuple(lids))
    )
    now_s = int(datetime(2013, 4, 10, 22, tzinfo=UTC).timestamp())
    plan = plan_for(spring.store, spring.garden, "north", now_s)
    assert len(plan) == 4
    assert plan[0].day == date(2013, 4, 10)
    assert plan[0].by_day == 1.0
    assert len(plan_for(spring.store, spring.garden, "lane", now_s)) == 7


def hardened(kept, *, low_c, advice="leave", text="Evening: Nothing to do.", boxes=("north",), day=10):
    """The evening brief of a day of April on which boxes are in their fifth day of hardening off."""
    begun_s = int(datetime(2013, 4, 6, 12, tzinfo=UTC).timestamp())
    lids = []
    for box in boxes:
        for k, (by_day, at_night) in enumerate(zip(DAY_OPENINGS, NIGHT_OPENINGS, strict=True)):
            for hour, opening in ((13, by_day), (24, at_night)):
                time_s = int(datetime(2013, 4, 6, tzinfo=UTC).timestamp()) + (24 * k + hour) * 3600
                if time_s < int(datetime(2013, 4, day, 21, tzinfo=UTC).timestamp()):
                    lids.append(LidOpening(box=box, time_s=time_s, opening=opening, known_from="told"))
    news = tuple(HardeningTold(time_s=begun_s, box=box, on=True) for box in boxes)
    Journal(kept.store, "spring").commit(
        row_s=lids[-1].time_s, readings=(), outcome=Outcome(lids=tuple(lids)), news=news
    )
    now_s = int(datetime(2013, 4, day, 22, tzinfo=UTC).timestamp())
    lines = tuple(BriefLine(box=box, advice=advice, reason="calm") for box in boxes)
    brief = Brief(issued_s=now_s, which="evening", date=date(2013, 4, day), lines=lines, text=text)
    night = NightForecast(
        box=OUTSIDE, night=date(2013, 4, day), issued_s=now_s, min_c=low_c + 2.0, low_c=low_c,
        high_c=low_c + 5.0, p_frost=0.0,
    )  # fmt: skip
    return with_season(kept.store, spring_garden(kept), brief, (night,)).text


def spring_garden(kept):
    return replace(kept.garden, sowings=Sown(kept.store, "spring")())


def test_the_evening_brief_says_the_next_step_and_the_night_decides(spring):
    """Four days lived and the fifth by day: a mild night is let in, the next step comes."""
    said = hardened(spring, low_c=6.0)
    assert said == (
        "Evening: Nothing else to do. "
        "Harden north, day 6 of 7: propped tonight too; tomorrow wide open by day."
    )


def test_a_cold_night_keeps_the_box_shut_and_the_step_is_done_again(spring):
    said = hardened(spring, low_c=0.4)
    assert "Harden north, day 5 of 7: shut tonight, it may fall to 0 °C; tomorrow wide open" in said


def test_where_the_brief_asks_to_close_the_lid_hardening_does_not_ask_to_leave_it_open(spring):
    said = hardened(spring, low_c=6.0, advice="close", text="Evening: Close north by 18:00: open.")
    assert said.startswith("Evening: Close north by 18:00: open. Harden north, day 5 of 7: shut tonight;")


def test_several_boxes_make_one_sentence_and_the_message_stays_short(spring):
    said = hardened(spring, low_c=-9.0, boxes=("north", "lane", "pump"))
    assert "Harden north, lane and pump, day 5 of 7: shut tonight, it may fall to -9 °C" in said
    assert len(said) <= 320


def test_each_box_goes_by_its_own_crop_and_without_room_the_why_is_left_out(spring):
    """Lettuce in north stays shut at 0.4 °C; spinach in lane and radish in pump bear it."""
    said = hardened(spring, low_c=0.4, boxes=("north", "lane", "pump"))
    assert "Harden north, day 5 of 7: shut tonight; tomorrow wide open by day." in said
    assert "Harden lane and pump, day 6 of 7: propped tonight too;" in said
    assert len(said) <= 320


def test_no_morning_and_nothing_long_forgotten_has_such_a_line(spring):
    told = HardeningTold(time_s=int(datetime(2013, 3, 1, tzinfo=UTC).timestamp()), box="north", on=True)
    Journal(spring.store, "spring").commit(row_s=told.time_s, readings=(), outcome=Outcome(), news=(told,))
    for which, day in (("morning", date(2013, 3, 5)), ("evening", date(2013, 4, 1))):
        issued_s = int(datetime(day.year, day.month, day.day, 22, tzinfo=UTC).timestamp())
        brief = Brief(issued_s=issued_s, which=which, date=day, lines=(), text="Nothing to do.")
        assert with_season(spring.store, spring_garden(spring), brief, ()) == brief


def test_the_command_begins_and_stops_it(tmp_path, capsys):
    file = tmp_path / "garden.toml"
    probe = '[[probe]]\nid = "n/a"\nbox = "north"\nplace = "air"\n'
    file.write_text(f'[site]\nname = "lane"\n[[box]]\nname = "north"\n{probe}')
    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}")
    for state in ("on", "off"):
        assert cli.main(["harden", "north", state, "--garden", str(file)]) == 0
    assert "north: hardening off, told of in the evening brief." in capsys.readouterr().out
    wanted = [(one.kind, one.body) for one in Requests(store, "lane").pending()]
    assert wanted == [("hardening", {"box": "north", "on": on}) for on in (True, False)]
    assert cli.main(["harden", "nrth", "on", "--garden", str(file)]) == 2
    store.close()
