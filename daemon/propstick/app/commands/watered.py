"""`propstick watered BOX`: no rain falls under glass, and nobody else can know."""

from __future__ import annotations

import argparse
import re
from datetime import date, datetime, time, timedelta

from propstick.app.commands._asking import ask
from propstick.errors import InputError


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick watered north                       just now\n"
        "  propstick watered north --at 07:30            today at half past seven, garden time\n"
        "  propstick watered north --at yesterday        at noon; or 2026-03-15, or 2026-03-15T07:30\n"
    )
    parser.add_argument("box", metavar="BOX", help="a box of the garden file")
    parser.add_argument("--at", metavar="WHEN", help="when, garden time, up to 60 days back (default: now)")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    if args.at is None:
        return ask(args, "watered", {"box": args.box}, "watered just now")
    from propstick.app.commands._shared import settings_of
    from propstick.edges.clock import SystemClock
    from propstick.times import utc_text

    zone = settings_of(args).garden.site.zone
    at_s = moment_of(args.at, now_s=int(SystemClock().wall_s()), zone=zone)
    return ask(args, "watered", {"box": args.box, "at": utc_text(at_s)}, f"watered {args.at}")


def moment_of(text: str, *, now_s: int, zone: str | None) -> int:
    """A moment that has been, UTC seconds: an hour of today, a day (noon of it), or both.

    Raises:
        InputError: anything else, or a moment still to come.
    """
    from propstick.times import at_local, local_date

    today = local_date(now_s, zone)
    day, clock = _day_and_clock(text, today)
    at_s = now_s if day == today and clock is None else at_local(day, clock or time(12), zone)
    if at_s > now_s:
        raise InputError(f"--at: got {text!r}, which is still to come, expected a moment that has been")
    return at_s


def _day_and_clock(text: str, today: date) -> tuple[date, time | None]:
    if text in ("today", "yesterday"):
        return today - timedelta(days=text == "yesterday"), None
    try:
        if re.fullmatch(r"\d\d?:\d\d", text):
            return today, time.fromisoformat(text.zfill(5))
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
            return date.fromisoformat(text), None
        if re.fullmatch(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", text):
            stamp = datetime.fromisoformat(text)
            return stamp.date(), stamp.time()
    except ValueError:
        pass
    raise InputError(
        f"--at: got {text!r}, expected an hour such as 07:30, a day such as {today}, or {today}T07:30"
    )
