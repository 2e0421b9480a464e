"""Power cuts between any two steps of a row: after the next start nothing is lost, nothing doubled.

A cut here ends the process's memory: the watch, its threads and its state are dropped as they are, and
a new one starts on the same store. That SQLite's own commit is all or nothing is shown in
`tests/edges` with processes killed for real.
"""

import pytest

from propstick.app.garden_file.settings import Settings, StoreSettings
from propstick.app.live.wiring import assemble
from propstick.edges.readings import ReadingLog
from propstick.garden import Box, Garden, Probe, Site
from propstick.testing import FakeBus, FakeChannel, HandClock

NOON_S = 1_790_251_200
ROWS = 14
GARDEN = Garden(
    site=Site(name="plot"),
    boxes=(Box(name="north"),),
    probes=(Probe(id="na", box="north", place="air"), Probe(id="oa", box="outside", place="air")),
)
STEPS = ("sample", "sampled", "commit", "committed", "acknowledge", "deliver", "delivered")


class PowerCutError(BaseException):
    """Not an Exception: nothing in the program may catch it."""


def heat_from_row_five(row_s):
    hot = row_s >= NOON_S + 5 * 60
    return {"na": 29.0 if hot else 22.0, "oa": 10.0 + row_s // 60 % 2 / 16}


class Plot:
    """A store, a bus and a phone that outlive the process; the process itself can be cut."""

    def __init__(self, folder):
        self.settings = Settings(
            garden=GARDEN, store=StoreSettings(url=f"sqlite:///{folder}/w.db"), path=folder / "garden.toml"
        )
        self.clock = HandClock(NOON_S)
        self.phone = FakeChannel()
        self.start()

    def start(self):
        self.assembly = assemble(
            self.settings, clock=self.clock, buses=lambda: [FakeBus(source=heat_from_row_five)],
            channels={"phone": self.phone}, watches_file=False,
        )  # fmt: skip

    def cut_at(self, step):
        """Lets the next arrival at that step be the end."""

        def cut(*_args, **_kwargs):
            raise PowerCutError(step)

        def cut_after(real):
            def run(*args, **kwargs):
                real(*args, **kwargs)
                raise PowerCutError(step)

            return run

        parts, delivery = self.assembly.watch._parts, self.assembly.delivery
        places = {
            "sample": (parts.sampler, "row", cut),
            "sampled": (parts.sampler, "row", cut_after(parts.sampler.row)),
            "commit": (parts.journal, "commit", cut),
            "committed": (parts.journal, "commit", cut_after(parts.journal.commit)),
            "acknowledge": (parts.sampler, "committed", cut),
            "deliver": (self.phone, "send", cut),
            "delivered": (delivery, "_try", cut_after(delivery._try)),
        }
        thing, name, replacement = places[step]
        setattr(thing, name, replacement)

    def live(self, until_s):
        """Rows until a time; the outbox is worked after each."""
        watch = self.assembly.watch
        while self.clock.wall_s() < until_s:
            watch.do_row(watch._rows.next_row())
            self.assembly.delivery.work_once()

    def die(self):
        """The process is gone: nothing is closed, but the operating system drops its locks."""
        self.assembly.sampler.stop()
        self.assembly.store.engine.dispose()
        self.phone.__dict__.pop("send", None)

    def outcome(self):
        """What is on the disk, and what the phone got: (time, probe, value), alarm ids, notice ids."""
        columns = ReadingLog(self.assembly.store, "plot").columns(0, 10**14)
        readings = list(
            zip(columns.time_ms.tolist(), columns.column.tolist(), columns.raw.tolist(), strict=True)
        )
        alarms = [(a["id"], a["state"], a["peak_c"]) for a in self.assembly.journal.alarms(0, 10**11)]
        return readings, alarms, [notice.id for notice, _ in self.phone.sent]


@pytest.fixture(scope="module")
def uncut(tmp_path_factory):
    plot = Plot(tmp_path_factory.mktemp("uncut"))
    plot.live(NOON_S + ROWS * 60)
    yield plot.outcome()
    plot.assembly.close()


def test_the_uncut_run_has_an_alarm_and_a_notice(uncut):
    """Without them the comparison below would show nothing."""
    readings, alarms, told = uncut
    assert len(readings) == 2 * (ROWS + 1)
    assert len(alarms) == len(told) == 1


@pytest.mark.slow
@pytest.mark.parametrize("minute", [0, 4, 5, 6, 7, 8, 9, 12])
@pytest.mark.parametrize("step", STEPS)
def test_a_cut_between_two_steps_loses_and_doubles_nothing(tmp_path, uncut, step, minute):
    """Cut at that step at or after that minute, start again, live on: the same disk, the same phone."""
    plot = Plot(tmp_path)
    plot.live(NOON_S + minute * 60)
    plot.cut_at(step)
    was_cut = False
    try:
        plot.live(NOON_S + ROWS * 60)
    except PowerCutError:
        was_cut = True
    if not was_cut:
        assert step in ("deliver", "delivered"), "every row samples and commits"
        assert minute > 6, "the notice goes out at the seventh minute"
    else:
        plot.die()
        plot.start()
        plot.assembly.delivery.work_once()
        plot.live(NOON_S + ROWS * 60)
    readings, alarms, told = plot.outcome()
    assert readings == uncut[0]
    assert alarms == uncut[1]
    assert sorted(set(told)) == sorted(set(uncut[2])), "told at least once, under the same id"
    if step != "delivered":
        assert len(told) == len(uncut[2])
    plot.assembly.close()
