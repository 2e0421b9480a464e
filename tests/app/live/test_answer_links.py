"""The link a notice carries."""

import pytest

from propstick.app.garden_file.settings import ApiSettings, Settings, StoreSettings
from propstick.app.live.answer_links import AnswerLinks, no_link
from propstick.app.live.wiring import assemble
from propstick.edges.answers import Answers
from propstick.edges.database import open_store
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Probe, Site
from propstick.records import Notice
from propstick.testing import FakeBus, FakeChannel, HandClock


def _notice(name="n1", alarms=("north.heat.x",)):
    return Notice(id=name, issued_s=0, boxes=("north",), kinds=("heat",), text="t", alarm_ids=alarms)


@pytest.fixture
def answers(tmp_path):
    """The links of a new store."""
    store = open_store(f"sqlite:///{tmp_path}/a.db")
    yield Answers(store, "plot")
    store.close()


def test_a_notice_keeps_its_link_over_channels_and_tries(answers):
    """One notice, one link; it leads to that notice's alarms."""
    links = AnswerLinks(answers, "http://pi.local:8460/", HandClock())
    first = links(_notice())
    assert links(_notice()) == first != links(_notice("n2"))
    assert first.startswith("http://pi.local:8460/answer/")
    assert answers.look(first.rpartition("/")[2]).alarm_ids == ("north.heat.x",)


def test_a_brief_has_nothing_to_acknowledge(answers):
    """No alarm, no link."""
    assert AnswerLinks(answers, "http://pi.local", HandClock())(_notice(alarms=())) is None
    assert no_link(_notice()) is None


def test_a_store_in_trouble_costs_the_link_and_not_the_notice(answers, monkeypatch):
    """Being warned comes first; the next try asks again."""
    links = AnswerLinks(answers, "http://pi.local", HandClock())

    def refuse(*_args, **_kwargs):
        raise StoreError("full")

    with monkeypatch.context() as patch:
        patch.setattr(answers, "issue", refuse)
        assert links(_notice()) is None
    assert links(_notice()) is not None


@pytest.mark.slow
def test_a_notice_reaches_the_phone_with_its_link(tmp_path):
    """All the way: a hot box, a watch whose page has an address, a channel."""
    garden = Garden(
        site=Site(name="plot"),
        boxes=(Box(name="north"),),
        probes=(Probe(id="a", box="north", place="air"),),
    )
    settings = Settings(
        garden=garden,
        store=StoreSettings(url=f"sqlite:///{tmp_path}/w.db"),
        api=ApiSettings(address="http://pi.local:8460"),
    )
    phone = FakeChannel()
    noon_s = 1_790_251_200
    bus = FakeBus(source=lambda t: {"a": 35.0 + t // 60 % 2 / 16 if t > noon_s + 300 else 20.0})
    assembly = assemble(
        settings, clock=HandClock(noon_s), buses=lambda: [bus], channels={"phone": phone}, watches_file=False
    )
    while not any(alarm.kind == "heat" for alarm in assembly.watch.state.open_alarms):
        assembly.watch.do_row(assembly.watch._rows.next_row())
    assembly.delivery.work_once()
    notice, link = next((n, link) for n, link in phone.sent if "heat" in n.kinds)
    answers = Answers(assembly.store, "plot")
    assert answers.look(link.removeprefix("http://pi.local:8460/answer/")).alarm_ids == notice.alarm_ids
    assembly.close()
