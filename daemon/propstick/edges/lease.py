"""One watch a site: the lease in the database that says which process it is.

A lease runs out by itself, so that another machine can take over a dead one's sites. On the same
machine nobody has to wait for that: whether the process lives can be seen.
"""

from __future__ import annotations

import os
import socket
from pathlib import Path

from sqlalchemy import Connection, delete, func, select, update

from propstick.edges import schema
from propstick.edges.store import Store
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
        values = {"owner": owner, "taken_s": now_s, "until_s": now_s + ttl_s}
        # Two that come at once: SQLite lets one write at a time; a server makes the second wait for the row,
        # or, where there was none yet, keeps the first's.
        mine = select(table).where(table.c.site == self._site).with_for_update()
        with self._store.write() as connection:
            insert = self._store.insert_new(table).values(site=self._site, **values)
            if connection.scalar(insert.returning(table.c.site)) is None:
                held = connection.execute(mine).one()
                if held.owner == owner:
                    values["taken_s"] = held.taken_s
                elif 0 < held.until_s - now_s <= _IMPLAUSIBLE * ttl_s and not _is_gone(held.owner):
                    raise StoreError(
                        f"store {self._store}: another watch holds this site until {utc_text(held.until_s)} "
                        f"({held.owner.split(' ')[0]}), expected to be the only one",
                        hint="stop the other one, or give this one a [store] url of its own",
                        reason="leased",
                    )
                connection.execute(update(table).where(table.c.site == self._site).values(**values))
        self._owner = owner

    def hold(self, connection: Connection, until_s: int | None) -> None:
        """Inside a transaction: it is still ours, and stays so until the transaction ends.

        A watch that slept too long must not write. The row is written, not only read: on a server whoever
        would take it over has to wait for what is being stored.

        Args:
            until_s: Makes it last until then, UTC seconds; None leaves its end as it is.

        Raises:
            StoreError: another process has taken it.
        """
        if self._owner is None:
            return
        table = schema.leases
        held = update(table).where(table.c.site == self._site, table.c.owner == self._owner)
        end = func.coalesce(until_s, table.c.until_s)
        if connection.execute(held.values(until_s=end)).rowcount != 1:
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
