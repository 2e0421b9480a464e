"""What a database driver complains of, in words that say what to do."""

from __future__ import annotations

from sqlalchemy.exc import TimeoutError as PoolTimeout

from propstick.errors import StoreError, StoreReason

BUSY_S = 10.0
"""How long a write waits for another process before it gives up."""

# Primary result codes of SQLite (sqlite.org/rescode.html) and SQLSTATEs of PostgreSQL (appendix A).
_SQLITE_REASONS: dict[int, StoreReason] = {
    5: "locked", 6: "locked", 8: "read-only", 10: "disk", 11: "corrupt", 13: "full", 14: "unreachable",
    23: "read-only", 26: "corrupt",
}  # fmt: skip
_NO_ROOM_FOR_SHARING = 4874
"""SQLITE_IOERR_SHMSIZE: seen on a full disk (tmpfs), where the index of the log is to be laid out."""
_POSTGRESQL_REASONS: dict[str, StoreReason] = {
    "25006": "read-only", "53100": "full", "55P03": "locked", "40P01": "locked", "XX001": "corrupt",
    "XX002": "corrupt", "58030": "disk", "57P01": "unreachable", "57P03": "unreachable",
}  # fmt: skip
_WHAT: dict[StoreReason, str] = {
    "full": "the disk is full",
    "read-only": "cannot be written to",
    "locked": f"another program held it for {BUSY_S:g} s",
    "corrupt": "is damaged",
    "unreachable": "cannot be opened",
    "disk": "the disk reported an error",
    "other": "refused",
}
_HINTS: dict[StoreReason, str] = {
    "full": "free some space; what is stored is safe, and the watch goes on writing by itself",
    "read-only": "check who owns the file, and whether the card has gone read-only (dmesg)",
    "locked": "see which other program has the store open",
    "corrupt": "propstick restore puts back a backup; the watch sets a damaged file aside and goes on",
    "unreachable": "propstick check tests the address and the rights of the store",
    "disk": "copy the backups off this card and replace it",
    "other": "propstick check looks at the store",
}


def explained(error: BaseException, *, where: str) -> StoreError:
    """What the driver complained of, as the person has to understand it."""
    number = getattr(error, "sqlite_errorcode", None)
    reason: StoreReason = "other"
    if number == _NO_ROOM_FOR_SHARING:
        reason = "full"
    elif number is not None:
        reason = _SQLITE_REASONS.get(number & 0xFF, "other")
    elif getattr(error, "sqlstate", None) is not None:
        reason = _POSTGRESQL_REASONS.get(error.sqlstate, "other")
    elif isinstance(error, PoolTimeout):
        reason = "locked"
    elif type(error).__name__ == "OperationalError":
        reason = "unreachable"
    first_line = (str(error).splitlines() or [""])[0]
    return StoreError(f"store {where}: {_WHAT[reason]} ({first_line})", hint=_HINTS[reason], reason=reason)
