"""`propstick watch`: the daemon."""

from __future__ import annotations

import argparse
import logging
import signal
import sys

from propstick.app.garden_file import load as config

log = logging.getLogger(__name__)


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick watch --garden /etc/propstick/garden.toml\n"
        "  propstick watch --once          one row, to see that probes and store work\n"
        "  propstick watch --garden /etc/propstick/gardens --standby\n\n"
        "Runs until SIGTERM or Ctrl-C, and goes on from the stored state at the next start. With a folder\n"
        "for --garden, every *.toml in it is a site. One line a change on standard output."
    )
    parser.add_argument(
        "--once", action="store_true", help="do one row and stop: tries everything out without staying"
    )
    parser.add_argument(
        "--serve", action="store_true", help="serve the page too, in this process: for a small Pi"
    )
    parser.add_argument(
        "--standby", action="store_true",
        help="where another watch holds a site, wait, and take its place when it ends (default: refuse)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.app.live.sites import assemble_all, run_all
    from propstick.edges.clock import SystemClock
    from propstick.edges.service import tell_service

    all_settings = config.load_all(config.find_file(args.garden))
    logging.basicConfig(level=logging.INFO, stream=sys.stdout, format="%(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    clock = SystemClock()

    def stop(_signal: int, _frame: object) -> None:
        tell_service("STOPPING=1")
        clock.wake()

    def alive(*_: object) -> None:
        tell_service("WATCHDOG=1")

    def once(*_: object) -> None:
        clock.wake()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    listeners = [alive, once] if args.once else [alive]
    # A second in waiting is at work: the service manager must not end it for being slow to start.
    waiting = (lambda: tell_service("READY=1\nWATCHDOG=1")) if args.standby else None
    assemblies = assemble_all(all_settings, clock=clock, on_row=listeners, waiting=waiting)
    if not assemblies:
        return 0
    for settings in all_settings:
        garden = settings.garden
        log.info(
            "watch-started site=%s boxes=%d probes=%d step_s=%d store=%s",
            garden.site.name, len(garden.boxes), len(garden.probes), garden.step_s, settings.store.url,
        )  # fmt: skip
    page = None
    if args.serve:
        from propstick.app.live import service

        page = service.start_beside(*all_settings, clock=clock)
        log.info("service-started address=%s gardens=%d", page.address, len(all_settings))
    tell_service("READY=1")
    try:
        run_all(assemblies)
    finally:
        if page is not None:
            page.stop()
    log.info("watch-stopped")
    return 0
