"""A disk of its own for a real daemon, small enough to fill (tmpfs; needs the right to mount)."""

from __future__ import annotations

import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tests.faults.plot import Plot

DISK_MIB = 320
"""Above the 200 MiB below which housekeeping complains, when nothing fills it."""
PATIENCE_S = 60.0


@contextmanager
def little_disk() -> Iterator[tuple[Plot, Path] | None]:
    """A plot whose store lies on such a disk, and where it is mounted; None where that is not allowed."""
    with tempfile.TemporaryDirectory() as name:
        mount = Path(name) / "disk"
        mount.mkdir()
        made = ["mount", "-t", "tmpfs", "-o", f"size={DISK_MIB}m", "tmpfs", str(mount)]
        if subprocess.run(made, capture_output=True, check=False).returncode:
            yield None
            return
        try:
            with closing(Plot(Path(name), disk=mount)) as plot:
                plot.is_calm = True
                yield plot, mount
        finally:
            subprocess.run(["umount", "-l", str(mount)], check=True)


def fill(path: Path) -> int:
    """Zeros behind a file until the disk takes no more, to the last byte; its size then."""
    with path.open("ab", buffering=0) as file:
        for size in (2**20, 4096, 1):
            try:
                while file.write(bytes(size)) == size:
                    pass
            except OSError:
                continue
        return file.tell()


def until(condition: Callable[[], bool]) -> None:
    """Waits for what the daemon has to get to."""
    until_s = time.time() + PATIENCE_S
    while not condition():
        assert time.time() < until_s, "the daemon did not get there"
        time.sleep(0.2)
