"""One watch a site: the lease in the database that says which process it is.

A lease runs out by itself, so that another machine can take over a dead one's sites. On the same
machine nobody has to wait for that: whether the process lives can be seen.
"""

from __future__ import annotations

import os
import socket
from pathlib import Path

from sqlalchemy import Connection, delete, select

from propstick.edges import schema
from propstick.edges.database import Store
from propstick.errors import StoreError
from propstick.times import utc_text

_IMPLAUSIBLE = 3
"""A lease that still runs this many times its length was taken before the clock was set back."""


def this_process() -> str:
    """A name for this process that no other has, on any machine, after any restart."""
    pid = os.getpid()
    return f"{socket.gethostname()} {_boot_id()} {pid} {_started(pid)}"


class Lease:
    """The right to be the only watch of a site."""

    def __init__(self, store: Store, site: int) -> None:
        self._store = store
        self._site = site
        self._owner: str | None = None

    def take(self, owner: str, now_s: int, ttl_s: int = 180) -> None:
        """Takes the lease, or makes one's own last `ttl_s` from now.

        Raises:
            StoreError: a living process holds it.
        """
        table = schema.leases
        with self._store.write() as connection:
            held = connection.execute(select(table).where(table.c.site == self._site)).first()
            if held is not None and held.owner != owner:
                left_s = held.until_s - now_s
                if 0 < left_s <= _IMPLAUSIBLE * ttl_s and not _is_gone(held.owner):
                    raise StoreError(
                        f"store {self._store}: another watch holds this site until {utc_text(held.until_s)} "
                        f"({held.owner.split(' ')[0]}), expected to be the only one",
                        hint="stop the other one, or give this one a [store] url of its own",
                        reason="leased",
                    )
            since = held.taken_s if held is not None and held.owner == owner else now_s
            values = {"owner": owner, "taken_s": since, "until_s": now_s + ttl_s}
            insert = self._store.insert(table).values(site=self._site, **values)
            connection.execute(insert.on_conflict_do_update(index_elements=["site"], set_=values))
        self._owner = owner

    def check(self, connection: Connection) -> None:
        """Inside a transaction: is it still ours? A watch that slept too long must not write.

        Raises:
            StoreError: another process has taken it.
        """
        if self._owner is None:
            return
        owner = connection.scalar(select(schema.leases.c.owner).where(schema.leases.c.site == self._site))
        if owner != self._owner:
            raise StoreError(
                f"store {self._store}: another watch has taken over this site",
                hint="stop this one, or the other",
                reason="leased",
            )

    def release(self) -> None:
        """Gives it back, on a clean stop."""
        if self._owner is None:
            return
        table = schema.leases
        with self._store.write() as connection:
            connection.execute(delete(table).where(table.c.site == self._site, table.c.owner == self._owner))
        self._owner = None


def living_owners(store: Store, now_s: int) -> list[str]:
    """Who holds any site of this store now, as far as can be told."""
    table = schema.leases.c
    with store.read() as connection:
        owners = connection.scalars(select(table.owner).where(table.until_s > now_s)).all()
    return [owner for owner in owners if not _is_gone(owner)]


def _is_gone(owner: str) -> bool:
    """Whether a process of this machine by that name has certainly ended; False if one cannot tell."""
    parts = owner.split(" ")
    if len(parts) != 4 or parts[0] != socket.gethostname() or not parts[2].isdigit():
        return False
    return parts[1] != _boot_id() or parts[3] != _started(int(parts[2]))


def _boot_id() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return "-"


def _started(pid: int) -> str:
    """When the process began, in the kernel's ticks since boot (proc(5), field 22); `-` if there is none."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return "-"
