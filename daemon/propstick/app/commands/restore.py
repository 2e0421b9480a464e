"""`propstick restore BACKUP`: a backup in the store's place; what stood there is set aside."""

from __future__ import annotations

import argparse
from pathlib import Path

from propstick.app.commands._shared import settings_of
from propstick.app.moments import moment
from propstick.times import local


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  systemctl stop propstick-watch\n"
        "  propstick restore /var/lib/propstick/backups/propstick-20260301T124000Z.db\n"
    )
    parser.add_argument("backup", metavar="BACKUP", help="a file that `propstick backup` wrote")
    parser.add_argument(
        "--until", metavar="TIME", help="leave out what came after this day or time (default: nothing)"
    )
    parser.add_argument(
        "--force", action="store_true", help="also in place of a store with newer rows (default: refuse)"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.clock import SystemClock
    from propstick.edges.restore import restore

    settings = settings_of(args, probes_required=False)
    zone_name = settings.garden.site.zone
    done = restore(
        Path(args.backup),
        settings.store.url,
        now_s=int(SystemClock().wall_s()),
        force=args.force,
        until_s=None if args.until is None else moment(args.until, zone_name, what="--until", is_end=True),
    )
    newest = (
        "no row" if done.newest_row_s is None else f"{local(done.newest_row_s, zone_name):%Y-%m-%d %H:%M}"
    )
    print(f"The store is now that of {args.backup}; its last row: {newest}.")
    if done.aside is not None:
        print(f"What stood there is kept as {done.aside}.")
    return 0
