"""What the sites of one daemon share: store, a look at it, a line to the broker, couriers, calendar.

One of each instead of one a site: two thousand sites are then some dozen threads and a handful of
connections.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from propstick.app.garden_file.settings import MqttSettings, Settings
from propstick.app.live.courier import Courier
from propstick.app.live.housekeeping import Calendar
from propstick.edges.glance import Glance
from propstick.edges.mqtt_line import Line
from propstick.edges.push_apart import Staying
from propstick.edges.store import Store
from propstick.ports import Clock

DESKS_AT_ONCE = 8
"""Sites whose notices are under way at a time, each in a process of some 50 MiB. Our choice."""


class Common:
    """Made before the sites, closed after the last of them.

    Args:
        all_settings: Every site of the daemon.
        open_store: Opens a store by its url.
    """

    def __init__(
        self, all_settings: Sequence[Settings], *, clock: Clock, open_store: Callable[[str], Store]
    ) -> None:
        self.courier = Courier(at_once=DESKS_AT_ONCE)
        self.calendar = Calendar()
        self.errands = Staying()
        self._clock = clock
        self._open_store = open_store
        self._stores: dict[str, Store] = {}
        self._glances: dict[str, Glance] = {}
        self._lines: dict[MqttSettings, Line] = {}
        self._names: dict[MqttSettings, list[str]] = {}
        for settings in all_settings:
            if settings.mqtt is not None:
                self._names.setdefault(settings.mqtt, []).append(settings.garden.site.name)

    def store(self, url: str) -> Store:
        """The store of that url: a server has connections for some hundred, not for thousands."""
        if url not in self._stores:
            self._stores[url] = self._open_store(url)
        return self._stores[url]

    def glance(self, url: str) -> Glance:
        """The one look at that store."""
        if url not in self._glances:
            self._glances[url] = Glance(self.store(url), self._clock.monotonic_s)
        return self._glances[url]

    def line(self, mqtt: MqttSettings) -> Line | None:
        """The connection of all sites with these settings; None: each has its own.

        MQTT 3.1.1 cannot say how many messages may wait for our word: all sites would share the broker's few.
        """
        if mqtt.version != "5":
            return None
        if mqtt not in self._lines:
            self._lines[mqtt] = Line(mqtt, self._names[mqtt])
        return self._lines[mqtt]

    def close(self) -> None:
        """Closes the stores and ends the processes of push; nobody uses them any more."""
        self.errands.close()
        for store in self._stores.values():
            store.close()
