"""What has to be done now and then and decides no alarm: backup, disk and clock checks, heartbeat.

APScheduler keeps the calendar, in a background thread. Its defaults drop a job that is a second late,
so every job here says that late is better than never.
"""

from __future__ import annotations

import logging
import shutil
import threading
import urllib.request
from collections.abc import Callable
from pathlib import Path

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger

from propstick.edges.reserve import Reserve

log = logging.getLogger(__name__)

FREE_MIB_AT_LEAST = 200
"""Below this a backup could fill the card. Our choice."""
CHORES_AT_ONCE = 4


class Calendar:
    """When which chore is due; one for all sites of a daemon. Runs from its first start to its last stop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._running = 0
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            executors={"default": {"type": "threadpool", "max_workers": CHORES_AT_ONCE}},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        self._scheduler.add_listener(_complain, EVENT_JOB_ERROR | EVENT_JOB_MISSED)

    def add(self, chore: Callable[[], object], trigger: BaseTrigger, name: str) -> None:
        """One more chore; one of that name that is there already stays, and does for both."""
        if self._scheduler.get_job(name) is None:
            self._scheduler.add_job(chore, trigger, id=name)

    def start(self) -> None:
        """One more has begun."""
        with self._lock:
            self._running += 1
            if self._running == 1:
                self._scheduler.start()

    def stop(self) -> None:
        """One has ended; with the last, a chore under way is let end."""
        with self._lock:
            self._running -= 1
            if self._running == 0:
                self._scheduler.shutdown(wait=True)


class Housekeeping:
    """Runs the chores; what they find stands in `troubles()` until it is mended.

    Args:
        folder: Where the store's file lies, None for a database server.
        reserve: Room kept back beside it.
        backup: Makes one backup and drops the oldest.
        prune: Drops what is spent: sessions, delivered notices, readings past their keeping.
        zone: Time zone for chores at a time of day.
        put_off: Why the store could not be brought up to this release, and what to do; empty if it was.
        heartbeat_url: Asked for every five minutes, so that somebody outside notices silence.
        calendar: Shared with other sites; one of its own unless given.
        site: Tells its chores from those of others.
        store: Names what is backed up: once a store, however many sites share it.
    """

    def __init__(
        self,
        *,
        folder: Path | None,
        backup: Callable[[], object] | None,
        prune: Callable[[], object],
        zone: str,
        heartbeat_url: str | None = None,
        reserve: Reserve | None = None,
        put_off: str = "",
        calendar: Calendar | None = None,
        site: str = "",
        store: str = "",
    ) -> None:
        self._calendar = calendar or Calendar()
        self._is_running = False
        self._folder = folder
        self._reserve = reserve
        self._site = site
        self._store = store
        self._zone = zone
        self._prune = prune
        self._backup = backup
        self._heartbeat_url = heartbeat_url
        self._lock = threading.Lock()
        self._found: dict[tuple[str, str], str] = {}
        self._note("store-trouble", "schema", put_off)

    def start(self) -> None:
        """Starts the chores; the disk is looked at straight away."""
        self.check_disk()
        self._enter_chores()
        self._calendar.start()
        self._is_running = True

    def _enter_chores(self) -> None:
        if self._folder is not None:
            self._calendar.add(self.check_disk, IntervalTrigger(minutes=10), f"disk {self._site}".strip())
        daily = CronTrigger(hour=13, minute=20, timezone=self._zone)
        self._calendar.add(self._prune, daily, f"prune {self._site}".strip())
        if self._backup is not None:
            # At midday: the nights are when every row counts.
            noon = CronTrigger(hour=12, minute=40, timezone=self._zone)
            self._calendar.add(self.make_backup, noon, f"backup {self._store}".strip())
        if self._heartbeat_url:
            often = IntervalTrigger(minutes=5)
            self._calendar.add(self.send_heartbeat, often, f"heartbeat {self._site}".strip())

    def stop(self) -> None:
        """Lets a chore under way end."""
        if self._is_running:
            self._is_running = False
            self._calendar.stop()

    def troubles(self) -> dict[str, str]:
        """Kind of alarm → what is the matter, for what stands now."""
        with self._lock:
            found: dict[str, str] = {}
            for (kind, _chore), detail in sorted(self._found.items()):
                found[kind] = f"{found[kind]}; {detail}" if kind in found else detail
            return found

    def check_disk(self) -> None:
        """Is there room for what the next days bring?"""
        if self._folder is None:
            return
        free_mib = shutil.disk_usage(self._folder).free // 2**20
        short = free_mib < FREE_MIB_AT_LEAST
        if self._reserve is not None and not short:
            self._reserve.hold(spare=FREE_MIB_AT_LEAST * 2**20)
        self._note("store-trouble", "disk", f"only {free_mib} MiB free on the disk" if short else "")

    def make_room(self) -> bool:
        """Gives up the room kept back, for a store that found the disk full; False if there is none left."""
        if self._reserve is None or not self._reserve.give_up():
            return False
        log.error("disk-full room='given up what was kept back'")
        self._note("store-trouble", "disk", "the disk is full; rows go on into the last room kept back")
        return True

    def make_backup(self) -> None:
        """One backup beside the store."""
        assert self._backup is not None
        try:
            self._backup()
        except Exception as error:
            self._note("store-trouble", "backup", f"no backup could be made: {error}")
            raise
        self._note("store-trouble", "backup", "")

    def send_heartbeat(self) -> None:
        """Tells the outside watcher that the watch is alive. Its own trouble is its own affair."""
        assert self._heartbeat_url is not None
        try:
            with urllib.request.urlopen(self._heartbeat_url, timeout=10) as answer:
                answer.read(1024)
        except OSError as error:
            log.warning("heartbeat-failed reason=%r", str(error))

    def _note(self, kind: str, chore: str, detail: str) -> None:
        with self._lock:
            if detail:
                self._found[kind, chore] = detail
            else:
                self._found.pop((kind, chore), None)


def _complain(event: JobExecutionEvent) -> None:
    log.error("chore-failed job=%s reason=%r", event.job_id, str(event.exception or "missed"))
