"""What a watch issued over some days, out of its store, against a replay of the readings it stored."""

from datetime import date
from math import cos, pi, sin

import pytest

from propstick.app.garden_file.settings import Settings, StoreSettings
from propstick.app.live.wiring import assemble
from propstick.app.recording.assemble import Recording
from propstick.app.replay.run import replay
from propstick.app.skill.stored import stored_skill
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Box, Garden, Person, Probe, Site
from propstick.grid import ReadingColumns
from propstick.testing import FakeBus, FakeChannel, HandClock

START_S = 1_776_002_400  # 2026-04-12T14:00:00Z
STEP_S = 300
ROWS = 3 * 288
GARDEN = Garden(
    site=Site(name="plot", latitude=53.35, longitude=-6.26, zone="Europe/Dublin"),
    person=Person(),
    boxes=(Box(name="north"), Box(name="lane")),
    probes=(
        Probe(id="na", box="north", place="air", correction_c=0.5),
        Probe(id="la", box="lane", place="air"),
        Probe(id="oa", box="outside", place="air"),
    ),
    step_s=STEP_S,
)


def weather(row_s):
    """Frost before dawn, and a box that passes 27 °C in a clear sun; each day a little unlike the last."""
    hour = row_s / 3600 % 24
    day = row_s // 86_400 % 7
    outside = 2.0 + 7.0 * cos(2 * pi * (hour - 14.5) / 24) + 0.4 * day
    sun = max(0.0, sin(pi * (hour - 5.5) / 14.0)) if 5.5 < hour < 19.5 else 0.0
    values = {"oa": outside, "na": outside + 1.0 + 23.0 * sun**1.3, "la": outside + 2.0 + 9.0 * sun}
    # The lowest bit keeps moving, as a probe's does.
    return {probe: round(value * 16 + row_s // STEP_S % 2) / 16 for probe, value in values.items()}


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    """The store of a watch that did three days, row by row."""
    folder = tmp_path_factory.mktemp("watched")
    settings = Settings(
        garden=GARDEN, store=StoreSettings(url=f"sqlite:///{folder}/w.db"), path=folder / "garden.toml"
    )
    assembly = assemble(
        settings, clock=HandClock(START_S), buses=lambda: [FakeBus(source=weather)],
        channels={"phone": FakeChannel()}, watches_file=False,
    )  # fmt: skip
    for _ in range(ROWS):
        assembly.watch.do_row(assembly.watch._rows.next_row())
    yield assembly.store
    assembly.close()


@pytest.fixture(scope="module")
def replayed(lived):
    """The readings of that store as a recording, a day at a time."""
    columns = ReadingLog(lived, "plot").columns(0, 2**43)
    none = ReadingColumns(
        probes=(), time_ms=columns.time_ms[:0], column=columns.column[:0], raw=columns.raw[:0],
        flags=columns.flags[:0],
    )  # fmt: skip
    recording = Recording(
        name="the store", columns=columns, probes=GARDEN.probes, covers=(), cover_columns=none, untimed=0,
        remarks=(),
    )  # fmt: skip
    return replay(recording, GARDEN)


def objects(items):
    """As they are shown, by time: the store keeps them rounded so."""
    return sorted((item.box, sorted(item.to_json().items(), key=str)) for item in items)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "named"), [("heat", "heat"), ("nights", "night_forecasts"), ("days", "day_forecasts")]
)
def test_what_was_issued_live_is_what_the_replay_issues(lived, replayed, kind, named):
    """Every figure of every forecast."""
    issued = objects(Journal(lived, "plot").issued(kind, 0, 2**33))
    assert len(issued) > 20
    assert issued == objects(getattr(replayed, named))


@pytest.mark.slow
def test_the_alarms_are_the_same_too(lived, replayed):
    """To the last key, heat and frost among them; of one still open the store has the last event's peak."""
    alarms = {one["id"]: one for one in Journal(lived, "plot").alarms(0, 2**33)}
    assert {"heat", "frost"} <= {one["kind"] for one in alarms.values()}
    again = {one.id: one.to_json() for one in replayed.alarms}
    assert alarms.keys() == again.keys()
    for name, alarm in alarms.items():
        moving = ("value_c", "peak_c", "peak_at") if alarm["returned"] is None else ()
        differ = {key for key in alarm if alarm[key] != again[name][key]}
        assert differ <= set(moving), (name, differ)


@pytest.mark.slow
def test_so_are_the_marks(lived, replayed):
    """The same rows in the same words; the store rounds chances to a thousandth, degrees to a hundredth."""
    stored = stored_skill(lived, GARDEN, date(2026, 4, 12), date(2026, 4, 15))
    assert [(row["forecast"], row.get("plain")) for row in stored] == [
        (row["forecast"], row.get("plain")) for row in replayed.skill
    ]
    assert {"heat warnings", "frost warnings", "heat within 30 min"} <= {row["forecast"] for row in stored}
    for mine, its in zip(stored, replayed.skill, strict=True):
        for key in mine.keys() - {"reliability"}:
            is_figure = isinstance(its[key], float)
            assert mine[key] == (pytest.approx(its[key], abs=0.011) if is_figure else its[key]), key
