"""The chores: what they find is an alarm's detail, and what fails does not stop the others."""

import http.server
import threading

import pytest

from propstick.app.live import housekeeping
from propstick.app.live.housekeeping import Calendar, Housekeeping


def chores(tmp_path, **more):
    return Housekeeping(
        folder=tmp_path, backup=more.pop("backup", None), prune=lambda: None, zone="UTC", **more
    )


def test_a_full_disk_is_trouble_until_it_is_mended(tmp_path, monkeypatch):
    keeping = chores(tmp_path)
    monkeypatch.setattr(housekeeping, "FREE_MIB_AT_LEAST", 10**9)
    keeping.check_disk()
    assert "MiB free" in keeping.troubles()["store-trouble"]
    monkeypatch.setattr(housekeeping, "FREE_MIB_AT_LEAST", 0)
    keeping.check_disk()
    assert keeping.troubles() == {}


def test_a_failed_backup_stands_beside_a_full_disk(tmp_path, monkeypatch):
    def fail():
        raise OSError("no such folder")

    keeping = chores(tmp_path, backup=fail)
    monkeypatch.setattr(housekeeping, "FREE_MIB_AT_LEAST", 10**9)
    keeping.check_disk()
    with pytest.raises(OSError, match="no such folder"):
        keeping.make_backup()
    said = keeping.troubles()["store-trouble"]
    assert "no such folder" in said
    assert "MiB free" in said


def test_the_heartbeat_reaches_a_real_server_and_its_absence_is_no_alarm(tmp_path):
    seen = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            seen.append(self.path)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_args):
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.handle_request, daemon=True).start()
    chores(tmp_path, heartbeat_url=f"http://127.0.0.1:{server.server_port}/alive").send_heartbeat()
    server.server_close()
    assert seen == ["/alive"]
    quiet = chores(tmp_path, heartbeat_url="http://127.0.0.1:9/alive")
    quiet.send_heartbeat()
    assert quiet.troubles() == {}


def test_every_chore_would_rather_be_late_than_dropped(tmp_path):
    """APScheduler's default drops a job that is a second late."""
    keeping = chores(tmp_path, backup=lambda: None, heartbeat_url="http://127.0.0.1:9/")
    keeping.start()
    jobs = {job.id: job for job in keeping._calendar._scheduler.get_jobs()}
    keeping.stop()
    assert set(jobs) == {"disk", "backup", "heartbeat", "prune"}
    assert all(
        job.misfire_grace_time is None and job.coalesce and job.max_instances == 1 for job in jobs.values()
    )


def test_sites_of_one_daemon_share_a_calendar_that_ends_with_the_last(tmp_path):
    """Each has its own chores, but a store that they share is backed up once."""
    calendar = Calendar()
    more = {"backup": lambda: None, "heartbeat_url": "http://127.0.0.1:9/", "calendar": calendar}
    east, west = (
        Housekeeping(folder=None, prune=lambda: None, zone="UTC", site=site, store="s.db", **more)
        for site in ("east", "west")
    )
    for site in (east, west):
        site.start()
    jobs = {job.id for job in calendar._scheduler.get_jobs()}
    assert jobs == {"prune east", "prune west", "heartbeat east", "heartbeat west", "backup s.db"}
    east.stop()
    assert calendar._scheduler.running
    east.stop()
    west.stop()
    assert not calendar._scheduler.running
