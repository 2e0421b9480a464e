"""Chooses the parts of a watch and puts them together: the only place that knows which are real."""

from __future__ import annotations

import logging
import os
import threading
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from propstick.app.garden_file.settings import Settings
from propstick.app.garden_file.source import GardenSource
from propstick.app.live.answer_links import AnswerLinks, no_link
from propstick.app.live.delivery import DeliveryDesk
from propstick.app.live.housekeeping import Housekeeping
from propstick.app.live.parts_report import PartsReport
from propstick.app.live.rowclock import BelievedTime
from propstick.app.live.sampler import Sampler
from propstick.app.live.watch import CHECKPOINT_S, Parts, RowListener, Watch, lease_s
from propstick.app.season.sown import Sown
from propstick.edges import maintenance, salvage
from propstick.edges.answers import Answers
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.lease import this_process
from propstick.edges.onewire import find_buses
from propstick.edges.push_apart import ApartChannel, once
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.edges.reserve import Reserve
from propstick.edges.store import Store
from propstick.errors import StoreError
from propstick.garden import Garden
from propstick.ports import Channel, Clock, Inbox, ProbeBus
from propstick.records import Brief, NightForecast

if TYPE_CHECKING:
    from propstick.app.live.common import Common

log = logging.getLogger(__name__)

READ_SHARE = 0.5
"""Share of a step that reading the probes may take before the row goes on without them."""
LONGEST_READ_S = 15.0


@dataclass
class Assembly:
    """A watch and everything it runs on. `run` does rows until `stop` is called."""

    watch: Watch
    delivery: DeliveryDesk
    housekeeping: Housekeeping
    broker: object | None
    sampler: Sampler
    journal: Journal
    store: Store
    clock: Clock
    is_wired: bool = False
    """Waits for wires at its rows."""
    common: Common | None = None
    """What it shares with other sites; then its store is not its own to close."""

    def run(self) -> None:
        """Starts the helpers, does rows, and takes everything down in order."""
        try:
            self.begin()
            self.watch.run()
        finally:
            self.close()

    def begin(self) -> None:
        """Starts the helpers; rows may follow."""
        self.delivery.start()
        self.housekeeping.start()
        if self.broker is not None:
            self.broker.start()

    def stop(self) -> None:
        """Asks the watch to end after the row under way. Safe in a signal handler."""
        self.clock.wake()

    def close(self) -> None:
        """Ends helpers; the last row and a checkpoint are on the disk before the lease is given back."""
        self.sampler.stop()
        if self.broker is not None:
            self.broker.stop()
        self.housekeeping.stop()
        self.delivery.stop()
        self.watch.leave()
        try:
            self.journal.lease.release()
        except StoreError as error:  # it runs out by itself
            log.warning("lease-not-released reason=%r", error.message)
        if self.common is None:
            self.store.close()


def assemble(
    settings: Settings,
    *,
    clock: Clock,
    buses: Callable[[], Sequence[ProbeBus]] | None = None,
    channels: Mapping[str, Channel] | None = None,
    extra_news: Callable[[], Sequence[tuple[str, dict]]] = tuple,
    on_row: Sequence[RowListener] = (),
    watches_file: bool = True,
    common: Common | None = None,
) -> Assembly:
    """The watch of one garden file.

    Args:
        settings: The garden file, read.
        clock: Real, or faster than life.
        buses: Finds the wired probes; the kernel's unless given.
        channels: Where notices go; those of `[push]` unless given.
        extra_news: More requests, beside those of store and broker.
        on_row: Told of every row, after the store has it.
        watches_file: Follow changes of the garden file.
        common: What it shares with other sites of this daemon; None: everything is its own.

    Raises:
        StoreError: the store cannot be opened, or another watch holds this site.
    """
    site = settings.garden.site.name
    url = settings.store.url
    store = common.store(url) if common else open_or_salvage(url)
    glance = common.glance(url) if common else None
    try:
        journal = Journal(store, site, glance)
        housekeeping = _housekeeping(settings, store, clock, common)
        is_held = _takes_lease(journal, clock, housekeeping, lease_s(settings.garden.step_s))
        if channels is None:
            errand = common.errands if common else once
            receipts = _receipts_folder(store, site)
            channels = {
                target.name: ApartChannel(target.url.reveal(), target.name, errand, receipts=receipts)
                for target in settings.push.targets
            }
        believed = BelievedTime(clock)
        broker = _broker(settings, journal, believed, common) if settings.mqtt else None
        helpers = frozenset(t.name for t in settings.push.targets if t.to == "helper")
        address = settings.api.address
        link = AnswerLinks(Answers(store, site), address, clock) if address else no_link
        courier = common.courier if common else None
        delivery = DeliveryDesk(journal, channels, clock, helpers=helpers, link=link, courier=courier)
        sown = Sown(store, site, garden_file=settings.path)
        garden = GardenSource(
            settings.path if watches_file else None,
            settings.garden,
            sowings=sown,
            sowings_revision=glance.sowings_revision if glance else sown.revision,
        )
        found = buses() if buses else find_buses(settings.onewire.tree)
        step_s = settings.garden.step_s
        sampler = Sampler(
            found,
            [broker] if broker is not None else [],
            step_s=step_s,
            deadline_s=min(LONGEST_READ_S, READ_SHARE * step_s),
        )
        listeners = [believed.on_row, *on_row]
        if broker is not None:
            from propstick.app.live.publisher import StatePublisher

            listeners.append(StatePublisher(broker).on_row)
        troubles = {bus.name: bus.trouble for bus in found}
        if broker is not None:
            troubles["broker"] = broker.trouble
        report = PartsReport(troubles, clock, now_s=believed)
        parts = Parts(
            store=store,
            journal=journal,
            readings=ReadingLog(store, site),
            requests=Requests(store, site, glance),
            sampler=sampler,
            delivery=delivery,
            clock=clock,
            garden=garden,
            extra_news=lambda: [*extra_news(), *(broker.take_requests() if broker is not None else ())],
            troubles=housekeeping.troubles,
            make_room=housekeeping.make_room,
            owner="" if is_held else this_process(),
            finish=lambda brief, nights: _with_season(store, garden(), brief, nights),
            extra_status=lambda: {
                "troubles": report.look(),
                **({"packs_seen": broker.seen()} if broker is not None else {}),
            },
            on_row=tuple(listeners),
            checkpoint_phase_s=zlib.crc32(site.encode()) % CHECKPOINT_S if common else 0,
        )
        for box in settings.garden.box_names:
            if not settings.garden.probes_at(box, "air"):
                log.warning("box-unwatched site=%s box=%s reason='no air probe'", site, box)
        watch = Watch(parts, step_s=step_s)
    except BaseException:
        if common is None:
            store.close()
        raise
    return Assembly(
        watch, delivery, housekeeping, broker, sampler, journal, store, clock,
        is_wired=bool(found), common=common,
    )  # fmt: skip


def _receipts_folder(store: Store, site: str) -> Path | None:
    """Where receipts of notices are kept: beside the store, else in the folder systemd gives a service."""
    if store.path is not None:
        return store.path.with_name(store.path.name + ".receipts") / site
    state = os.environ.get("STATE_DIRECTORY")
    return Path(state, "receipts", site) if state else None


def _takes_lease(journal: Journal, clock: Clock, housekeeping: Housekeeping, ttl_s: int) -> bool:
    """The lease; on a disk that stays full the watch begins without, and takes it before its first commit."""
    for _ in range(2):
        try:
            journal.take_lease(this_process(), int(clock.wall_s()), ttl_s)
            return True
        except StoreError as error:
            if error.reason != "full":
                raise
            log.error("lease-refused reason=%r", error.message)
        if not housekeeping.make_room():
            return False
    return False


def _with_season(store: Store, garden: Garden, brief: Brief, nights: Sequence[NightForecast]) -> Brief:
    """Loaded twice a day at most: the season is no part of an ordinary row."""
    from propstick.app.season.brief import with_season

    return with_season(store, garden, brief, nights)


def open_or_salvage(url: str) -> Store:
    """The store; a damaged file is set aside and the watch begins in a fresh one.

    What can be read of the old one follows: sowings, alarms and learnt state at once, readings in the
    background while the watch already writes.
    """
    try:
        return open_store(url, migrate=True)
    except StoreError as error:
        if error.reason != "corrupt":
            raise
        log.error("store-damaged reason=%r", error.message)
    recovered = salvage.recover(url)
    log.warning("store-recovered aside=%s broken=%s", recovered.aside, ",".join(recovered.broken) or "none")
    threading.Thread(target=_rescue, args=(recovered,), name="rescue", daemon=True).start()
    return recovered.store


def _rescue(recovered: salvage.Recovered) -> None:
    try:
        rescued, broken = salvage.rescue_readings(recovered)
        log.warning("readings-rescued count=%d broken=%s", rescued, ",".join(broken) or "none")
    except StoreError as error:
        log.error("rescue-failed reason=%r", error.message)


def _broker(settings: Settings, journal: Journal, believed: BelievedTime, common: Common | None) -> Inbox:
    from propstick.edges.mqtt import Broker

    status = journal.status() or {}
    assert settings.mqtt is not None
    line = common.line(settings.mqtt) if common else None
    return Broker(
        settings.mqtt, settings.garden.site.name, now_s=believed, seen=status.get("packs_seen"), line=line
    )


def _housekeeping(settings: Settings, store: Store, clock: Clock, common: Common | None) -> Housekeeping:
    folder = settings.store.backup_folder

    def backup() -> None:
        assert folder is not None
        maintenance.backup_and_rotate(store, folder, keep=settings.store.backup_keep)

    def prune() -> None:
        keep_days = settings.store.keep_days or None
        maintenance.prune(
            store, now_s=int(clock.wall_s()), keep_days=keep_days, site=settings.garden.site.name
        )

    path = store.path
    heartbeat = settings.watch.heartbeat_url
    return Housekeeping(
        folder=Path(path).parent if path else None,
        backup=backup if folder is not None else None,
        prune=prune,
        zone=settings.garden.site.zone or "UTC",
        heartbeat_url=heartbeat.reveal() if heartbeat else None,
        reserve=Reserve(path) if path else None,
        put_off=store.put_off,
        calendar=common.calendar if common else None,
        site=settings.garden.site.name,
        store=f"{store} {folder}",
    )
