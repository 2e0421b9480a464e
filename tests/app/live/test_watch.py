"""The whole watch on real SQLite, with a hand-moved clock: what is stored, told, kept through trouble."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.app.garden_file.settings import MqttSettings, Settings, StoreSettings
from propstick.app.live.watch import lease_s
from propstick.app.live.wiring import assemble
from propstick.blocks import Flag
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.engine.pipeline import advance, begin
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Person, Probe, Site
from propstick.grid import lay
from propstick.ports import Delivery
from propstick.testing import FakeBus, FakeChannel, HandClock

NOON_S = 1_790_251_200  # 2026-09-24T12:00:00Z, a Thursday
GARDEN = Garden(
    site=Site(name="plot", latitude=51.5, longitude=-0.1, zone="Europe/London"),
    person=Person(),
    boxes=(Box(name="north"), Box(name="lane")),
    probes=(
        Probe(id="na", box="north", place="air", correction_c=0.5),
        Probe(id="la", box="lane", place="air"),
        Probe(id="oa", box="outside", place="air"),
    ),
)


def warming(row_s):
    """North passes 27 °C about 40 minutes after noon and cools again two hours later."""
    minutes = (row_s - NOON_S) / 60
    north = 22.0 + min(minutes, 160 - minutes) * 0.12
    return {
        "na": round(north * 16) / 16,
        "la": 20.0 + (row_s // 60 % 3) / 16,
        "oa": 12.0 + (row_s // 60 % 2) / 16,
    }


class Rig:
    """One garden's watch under test; `restart` is what a new start finds."""

    def __init__(self, folder, *, garden=GARDEN, mqtt=None):
        self.settings = Settings(
            garden=garden,
            store=StoreSettings(url=f"sqlite:///{folder}/w.db"),
            mqtt=mqtt,
            path=folder / "garden.toml",
        )
        self.bus = FakeBus(source=warming)
        self.channel = FakeChannel()
        self.clock = HandClock(NOON_S)
        self.restart()

    def restart(self):
        self.assembly = assemble(
            self.settings, clock=self.clock, buses=lambda: [self.bus], channels={"phone": self.channel},
            watches_file=False,
        )  # fmt: skip
        return self.assembly

    def rows(self, count):
        for _ in range(count):
            self.assembly.watch.do_row(self.assembly.watch._rows.next_row())
            self.assembly.delivery.work_once()

    @property
    def journal(self):
        return self.assembly.journal

    def stored(self):
        return ReadingLog(self.assembly.store, "plot").columns(0, 10**14)


@pytest.fixture
def rig(tmp_path):
    rig = Rig(tmp_path)
    yield rig
    rig.assembly.close()


@pytest.mark.slow
def test_a_warm_noon_is_stored_raised_told_and_over(rig):
    """Every reading on the disk, one heat alarm with its whole life, one push."""
    rig.rows(170)
    assert len(rig.stored()) == 170 * 3
    heat = [a for a in rig.journal.alarms(0, 10**11) if a["kind"] == "heat"]
    assert [(a["box"], a["state"]) for a in heat] == [("north", "normal")]
    assert heat[0]["peak_c"] == pytest.approx(22.0 + 80 * 0.12 + 0.5, abs=0.1)
    pushed = [notice.text for notice, _ in rig.channel.sent if "heat" in notice.kinds]
    assert len(pushed) == 1
    assert "north" in pushed[0]
    assert len(pushed[0]) <= 160


@pytest.mark.slow
def test_replaying_the_store_finds_what_was_lived(rig):
    """The same rows and news from the disk, a day at a time: the same alarms to the last key."""
    rig.rows(60)
    assembly = rig.assembly
    Requests(assembly.store, "plot").add("lid", {"box": "north", "opening": 1.0}, by="test")
    rig.rows(90)
    lived = rig.journal.alarms(0, 10**11)
    state = begin(replace(GARDEN, sowings=()))
    block = lay(rig.stored(), step_s=60, first_row_s=NOON_S, rows=150)
    state, outcome = advance(state, block, rig.journal.news_between(0, 10**11))
    again = {change.alarm.id: change.alarm.to_json() for change in outcome.changes}
    assert {a["id"]: a for a in lived} == again


@pytest.mark.slow
def test_a_new_start_goes_on_where_the_old_one_died(rig):
    """Killed at minute 45 in mid-alarm, without a checkpoint: same alarm, not raised nor told again."""
    rig.rows(45)
    standing = rig.assembly.watch.state.open_alarms
    assert [a.kind for a in standing] == ["heat"]
    rig.assembly.store.close()
    rig.restart()
    assert rig.assembly.watch.state.open_alarms == standing
    rig.rows(30)
    assert len([n for n, _ in rig.channel.sent if "heat" in n.kinds]) == 1


def test_a_request_is_carried_out_once_and_a_wrong_one_refused(rig):
    requests = Requests(rig.assembly.store, "plot")
    good = requests.add("lid", {"box": "north", "opening": 0.3}, by="test")
    bad = requests.add("lid", {"box": "nowhere", "opening": 0.3}, by="test")
    rig.rows(2)
    assert requests.pending() == []
    assert requests.get(good).refused is None
    assert "nowhere" in requests.get(bad).refused
    lids = [lid for lid in rig.journal.issued("lids", 0, 10**11) if lid.known_from == "told"]
    assert [lid.opening for lid in lids] == [0.3]


def test_the_live_view_says_what_each_box_does(rig):
    rig.rows(20)
    view = rig.journal.status()
    north = next(box for box in view["boxes"] if box["box"] == "north")
    assert north["air"]["value"] == pytest.approx(warming(NOON_S + 19 * 60)["na"] + 0.5, abs=0.01)
    assert north["air"]["read"] == view["time"]
    assert north["limits"]["heat_c"] == 27.0


def test_the_live_view_keeps_what_wire_and_broker_complain_of(tmp_path):
    """From the second row on; and no longer once it is over. The broker here was never reached."""
    rig = Rig(tmp_path, mqtt=MqttSettings(host="127.0.0.1", port=1))
    rig.bus.complaint = "may not start conversions"
    rig.rows(1)
    assert rig.journal.status()["troubles"] == []
    rig.rows(1)
    told = {one["part"]: one["found"] for one in rig.journal.status()["troubles"]}
    assert told == {"bus": "may not start conversions", "broker": "not started"}
    rig.bus.complaint = ""
    rig.rows(1)
    assert [one["part"] for one in rig.journal.status()["troubles"]] == ["broker"]
    rig.assembly.close()


def test_a_probe_gone_bad_is_flagged_in_the_store_and_not_used(rig):
    """Two power-on values: kept with their flag; the value in the live view is not 85."""
    rig.bus.source = None
    rig.bus.values = {"na": 20.0, "la": 20.0, "oa": 12.0}
    rig.rows(3)
    rig.bus.values["na"] = 85.0
    rig.bus.flags["na"] = int(Flag.POWER_ON)
    rig.rows(2)
    stored = rig.stored()
    mine = stored.raw[stored.column == stored.probes.index("na")]
    flags = stored.flags[stored.column == stored.probes.index("na")]
    assert mine.tolist()[-2:] == [85.0, 85.0]
    assert all(f & Flag.POWER_ON for f in flags[-2:])
    assert rig.assembly.watch.state.open_alarms == ()


class Refusing:
    """The journal of a full disk."""

    def __init__(self, journal):
        self._journal = journal
        self.refuses = True

    def commit(self, **row):
        if self.refuses:
            raise StoreError("store: the disk is full", reason="full")
        return self._journal.commit(**row)

    def __getattr__(self, name):
        return getattr(self._journal, name)


@pytest.mark.slow
def test_a_full_disk_does_not_stop_the_warnings_and_loses_no_row(rig):
    """While the store refuses the person is still warned; afterwards every row is on the disk, once."""
    rig.rows(5)
    watch = rig.assembly.watch
    refusing = Refusing(rig.journal)
    watch._parts = replace(watch._parts, journal=refusing)
    rig.rows(60)
    assert [n for n, _ in rig.channel.sent if "heat" in n.kinds], "warned although nothing could be stored"
    assert any("store-trouble" in n.kinds for n, _ in rig.channel.sent)
    refusing.refuses = False
    rig.rows(5)
    assert len(rig.stored()) == 70 * 3
    heat = [n.id for n, _ in rig.channel.sent if "heat" in n.kinds]
    assert len(heat) == len(set(heat)) == 1


def test_a_full_disk_is_given_the_room_kept_back_and_told_of_at_once(rig):
    """The row that finds the disk full is stored all the same; the next one tells the person."""
    rig.rows(2)
    watch, keeping = rig.assembly.watch, rig.assembly.housekeeping
    keeping._reserve._size = 2**20
    keeping._reserve.hold(spare=0)
    refusing = Refusing(rig.journal)
    real = keeping.make_room

    def make_room():
        refusing.refuses = not real()
        return not refusing.refuses

    watch._parts = replace(watch._parts, journal=refusing, make_room=make_room)
    rig.rows(1)
    assert len(rig.stored()) == 3 * 3
    assert watch._backlog == []
    rig.rows(1)
    assert [n.kinds for n, _ in rig.channel.sent] == [("store-trouble",)]
    refusing.refuses = True  # and full again, with nothing left to give up
    rig.rows(1)
    assert len(watch._backlog) == 1


def test_a_watch_starts_on_a_full_disk_and_takes_its_lease_later(rig, monkeypatch):
    """Whoever was killed while the disk was full must be warned again after the restart."""
    rig.rows(2)
    rig.assembly.store.close()
    real = Journal.take_lease

    def full_disk(*_args, **_more):
        raise StoreError("store: the disk is full", reason="full")

    monkeypatch.setattr(Journal, "take_lease", full_disk)
    monkeypatch.setattr(Journal, "commit", full_disk)
    rig.restart()
    rig.assembly.watch._parts = replace(rig.assembly.watch._parts, owner="me")
    rig.rows(3)
    assert len(rig.assembly.watch._backlog) == 3
    monkeypatch.undo()
    assert Journal.take_lease is real
    rig.rows(1)
    assert len(rig.stored()) == 6 * 3


@pytest.mark.slow
def test_a_push_service_that_refuses_is_tried_again_and_reported(rig):
    rig.channel.answers.extend([Delivery(ok=False, detail="HTTP 500")] * 40)
    rig.rows(70)
    assert "push-trouble" in {a["kind"] for a in rig.journal.alarms(0, 10**11)}
    rig.channel.answers.clear()
    rig.rows(40)
    heat = [n for n, _ in rig.channel.sent if "heat" in n.kinds]
    assert len(heat) == 1


def test_two_watches_on_one_store_are_refused(rig):
    """The lease: the second start says who holds the site, and leaves it alone."""
    rig.rows(1)
    other = Journal(open_store(rig.settings.store.url), "plot")
    with pytest.raises(StoreError, match="another watch"):
        other.take_lease("elsewhere 0 1 1", int(rig.clock.wall_s()))


def test_a_watch_whose_site_another_has_taken_over_ends_and_tells_nothing(rig):
    """It slept past its lease; going on in memory it would send every notice the other sends."""
    rig.rows(30)  # one before the row that warns of heat ahead
    Journal(open_store(rig.settings.store.url), "plot").take_lease("other 1", int(rig.clock.wall_s()) + 181)
    with pytest.raises(StoreError) as caught:
        rig.rows(1)
    assert caught.value.reason == "leased"
    rig.assembly.delivery.work_once()
    assert not rig.channel.sent


def test_a_lease_outlasts_the_longest_step():
    """Rows may be five minutes apart: whoever looks in between must not find the site free."""
    assert [lease_s(step_s) for step_s in (2, 60, 300)] == [30, 180, 900]


def test_a_helper_is_told_only_what_is_for_them(tmp_path):
    rig = Rig(tmp_path)
    rig.assembly.delivery._helpers = frozenset({"helper"})
    rig.assembly.delivery._channels["helper"] = FakeChannel("helper")
    from propstick.records import Notice

    mine = Notice(id="a", issued_s=0, boxes=(), kinds=("heat",), text="x")
    assert rig.assembly.delivery.route(mine) == ("phone",)
    assert rig.assembly.delivery.route(replace(mine, to="helper")) == ("helper",)
    rig.assembly.close()


def test_values_are_rounded_as_the_store_rounds_them(rig):
    """1/16 °C does not fit two decimals; the engine and the disk must see the same number."""
    rig.bus.source = None
    rig.bus.values = {"na": 20.0625, "la": 20.1875, "oa": 12.3125}
    rig.rows(2)
    assert np.allclose(sorted(set(rig.stored().raw)), [12.31, 20.06, 20.19], atol=1e-9)


@pytest.mark.slow
def test_what_the_season_reminds_of_goes_out_with_the_brief(rig):
    """Only at the row of a brief is it asked; the stored brief and the pushed one say the same."""
    asked = []

    def finish(brief, nights):
        asked.append({one.box for one in nights})
        return replace(brief, text=f"{brief.text} Look whether north is dry.")

    watch = rig.assembly.watch
    watch._parts = replace(watch._parts, finish=finish)
    rig.rows(5 * 60)
    (brief,) = rig.journal.briefs(0, 10**11)
    assert brief.which == "evening"
    assert brief.text.endswith(" Look whether north is dry.")
    assert asked == [{"north", "lane", "outside"}]
    (pushed,) = [notice.text for notice, _ in rig.channel.sent if "brief" in notice.kinds]
    assert pushed == brief.text


@pytest.mark.slow
def test_a_box_being_hardened_has_its_line_in_the_evening_brief(rig):
    """Told at noon, the lid propped by one o'clock: the first day is lived, the night shut, the second next;
    lane, of which nothing was told, is not named. Stopped the next noon, the next evening is silent of it."""
    requests = Requests(rig.assembly.store, "plot")
    requests.add("hardening", {"box": "north", "on": True}, by="test")
    requests.add("lid", {"box": "north", "opening": 0.1}, by="test")
    rig.rows(5 * 60)
    (brief,) = rig.journal.briefs(0, 10**11)
    assert "Harden north, day 2 of 7: shut tonight; tomorrow a third open by day." in brief.text
    assert "Nothing to do" not in brief.text
    assert "Harden lane" not in brief.text
    assert len(brief.text) <= 320
    (pushed,) = [notice.text for notice, _ in rig.channel.sent if "brief" in notice.kinds]
    assert pushed == brief.text
    requests.add("hardening", {"box": "north", "on": False}, by="test")
    rig.rows(24 * 60)
    later = rig.journal.briefs(brief.issued_s + 1, 10**11)
    assert [one.which for one in later] == ["morning", "evening"]
    assert not any("Harden" in one.text for one in later)
