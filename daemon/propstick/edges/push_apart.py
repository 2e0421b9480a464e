"""Push in a process of its own, so that the watch stays small and a plugin that hangs takes nothing along.

apprise keeps some 20 MiB once it is loaded. A notice goes out a few times a day: the process lives for
a second, and what it took is given back. The address travels by standard input, where no list of
processes shows it.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys

from propstick.codec import from_text, to_text
from propstick.errors import StoreError
from propstick.ports import Delivery
from propstick.records import Notice

log = logging.getLogger(__name__)

LONGEST_S = 60.0
"""A small Pi needs some seconds to load apprise before its own deadlines begin to run."""


class ApartChannel:
    """An address in apprise's notation, served by a short-lived process.

    Args:
        url: Holds secrets: never logged, never part of a result.
        name: What the outbox and the log call it.
    """

    def __init__(self, url: str, name: str) -> None:
        self.name = name
        self._url = url

    def __repr__(self) -> str:
        return f"ApartChannel({self.name!r}, ***)"

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        """Hands the notice over. Never raises; blocks for the life of the process."""
        order = json.dumps({"url": self._url, "name": self.name, "notice": to_text(notice), "link": link})
        try:
            done = subprocess.run(
                [sys.executable, "-m", "propstick.edges.push_apart"],
                input=order, capture_output=True, text=True, timeout=LONGEST_S, check=False,
            )  # fmt: skip
            return Delivery(**json.loads(done.stdout))
        except subprocess.TimeoutExpired:
            return Delivery(ok=False, detail=f"no end after {LONGEST_S:.0f} s")
        except (OSError, ValueError, TypeError) as error:
            log.warning("push-process-fault channel=%s kind=%s", self.name, type(error).__name__)
            return Delivery(ok=False, detail="the sending process failed")


def main() -> int:
    """Reads one order from standard input, carries it out, and writes how it went."""
    from propstick.edges.push import AppriseChannel

    try:
        order = json.load(sys.stdin)
        notice = from_text(order["notice"], of=Notice)
    except (ValueError, KeyError, StoreError):
        print(json.dumps({"ok": False, "detail": "the order could not be read", "final": True}))
        return 2
    result = AppriseChannel(order["url"], order["name"]).send(notice, link=order["link"])
    print(json.dumps({"ok": result.ok, "detail": result.detail, "final": result.final}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
