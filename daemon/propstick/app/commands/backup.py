"""`propstick backup [FILE]`: the store as it is now, in one file, while the watch runs."""

from __future__ import annotations

import argparse
from pathlib import Path

from propstick.app.commands._shared import settings_of
from propstick.app.progress import Progress
from propstick.app.store import store_of
from propstick.errors import InputError


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = "  propstick backup /mnt/stick/garden.db\n"
    parser.add_argument(
        "file",
        metavar="FILE",
        nargs="?",
        help="where to (default: a file named by the time in [store] backup_folder; the oldest are dropped)",
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.maintenance import backup, backup_and_rotate

    settings = settings_of(args, probes_required=False)
    folder = settings.store.backup_folder
    with store_of(settings) as store, Progress("copying") as bar:
        if args.file is not None:
            path = backup(store, Path(args.file), bar.to)
        elif folder is not None:
            path = backup_and_rotate(store, folder, keep=settings.store.backup_keep)
        else:
            raise InputError("backup: got no FILE, expected one", hint="or set [store] backup_folder")
    print(f"{path}: {path.stat().st_size / 2**20:.1f} MiB, complete and found sound")
    return 0
