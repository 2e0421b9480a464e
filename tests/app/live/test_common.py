"""What the sites of a daemon share: one of each, and nothing where sharing would cost a site its readings."""

from dataclasses import replace

import pytest

from propstick.app.garden_file.settings import MqttSettings, Secret, Settings, StoreSettings
from propstick.app.live.common import Common
from propstick.edges.database import open_store
from propstick.garden import Garden, Site
from propstick.testing import HandClock

PLAIN = MqttSettings(username="watch", password=Secret("word"))


def sites(tmp_path, *brokers):
    return [
        Settings(
            garden=Garden(site=Site(name=f"plot{k}")),
            store=StoreSettings(url=f"sqlite:///{tmp_path / 'w.db'}"),
            mqtt=mqtt,
        )
        for k, mqtt in enumerate(brokers)
    ]


@pytest.fixture
def common(tmp_path):
    opened = []
    same = replace(PLAIN, password=Secret("word"))
    other = replace(PLAIN, password=Secret("another"))
    made = Common(
        sites(tmp_path, PLAIN, same, other),
        clock=HandClock(),
        open_store=lambda url: opened.append(url) or open_store(url),
    )
    made.opened = opened
    yield made
    made.close()


def test_a_store_is_opened_once_and_looked_at_as_one(common, tmp_path):
    url = f"sqlite:///{tmp_path / 'w.db'}"
    assert common.store(url) is common.store(url)
    assert common.glance(url) is common.glance(url)
    assert common.opened == [url]


def test_sites_share_a_line_where_they_come_to_the_broker_in_the_same_way(common):
    """The same host under another password is another visitor there, with other rights."""
    line = common.line(PLAIN)
    assert common.line(replace(PLAIN, password=Secret("word"))) is line
    assert line.will_topic == "propstick/plot0/watch"
    assert line.is_shared
    apart = common.line(replace(PLAIN, password=Secret("another")))
    assert apart is not line
    assert apart.will_topic == "propstick/plot2/watch"
    assert not apart.is_shared


def test_under_mqtt_3_1_1_each_has_a_line_of_its_own(tmp_path):
    """It cannot say how much may wait for the next row: all would share the broker's few."""
    old = replace(PLAIN, version="3.1.1")
    made = Common(sites(tmp_path, old, old), clock=HandClock(), open_store=open_store)
    assert made.line(old) is None
