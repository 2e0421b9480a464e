"""What `propstick check` finds of this machine: its clock, its disk."""

from __future__ import annotations

import ctypes
import os
import shutil

from propstick.app.checks.finding import Finding, Mark
from propstick.app.garden_file.settings import Settings
from propstick.times import local, utc_text

FREE_MIB_LOOK, FREE_MIB_BAD = 500, 100
"""Room for a year of readings of sixteen probes, and room for a backup. Our choice."""
BUILT_S = 1_764_000_000
"""2025-11-24: no Propstick was built before it, so a clock that says so is wrong."""
_TIME_ERROR = 5
"""What adjtimex(2) returns while the kernel holds the clock for unsynchronised."""


def clock(settings: Settings, *, now_s: int, last_row_s: int | None, synchronised: bool | None) -> Finding:
    """Whether the clock can be believed: every time in the store rests on it."""
    told = f"{local(now_s, settings.garden.site.zone):%Y-%m-%d %H:%M} ({settings.garden.site.zone or 'UTC'})"
    wait = "connect the Pi to a network, or add a clock chip; the watch waits until it is set"
    if now_s < BUILT_S:
        return Finding(thing="clock", mark="bad", found=f"{told}: not set", do=wait)
    if last_row_s is not None and now_s < last_row_s - 60:
        return Finding(
            thing="clock", mark="bad", found=f"{told}, before the last row {utc_text(last_row_s)}", do=wait
        )
    if synchronised is False:
        helps = "timedatectl shows why; without a network a clock chip helps"
        return Finding(thing="clock", mark="look", found=f"{told}, not synchronised", do=helps)
    return Finding(thing="clock", mark="ok", found=told + (", synchronised" if synchronised else ""))


def is_synchronised() -> bool | None:
    """What the kernel says of its clock; None where it cannot be asked."""
    try:
        timex = ctypes.create_string_buffer(512)  # struct timex, modes = 0: only asks
        state = ctypes.CDLL(None).adjtimex(timex)
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != _TIME_ERROR


def disk(settings: Settings) -> Finding:
    """Room and leave to write where the store lies."""
    file = settings.store.sqlite_file
    folder = file.parent if file else settings.path.resolve().parent
    while not folder.is_dir():
        folder = folder.parent
    free_mib = shutil.disk_usage(folder).free // 2**20
    if os.statvfs(folder).f_flag & os.ST_RDONLY:
        return Finding(
            thing="disk",
            mark="bad",
            found=f"{folder} is on a read-only file system",
            do="a worn card does this: make a backup and change it",
        )
    mark: Mark = "bad" if free_mib < FREE_MIB_BAD else "look" if free_mib < FREE_MIB_LOOK else "ok"
    do = "" if mark == "ok" else "make room, or take old backups elsewhere"
    return Finding(thing="disk", mark=mark, found=f"{free_mib:,} MiB free at {folder}", do=do)
