"""Push in a process of its own, so that the watch stays small and a plugin that hangs takes nothing along.

apprise keeps some 20 MiB once it is loaded. At one site a notice goes out a few times a day: the process
lives for a second, and what it took is given back. Where many sites have theirs at the same dusk, processes
stay for the next one: loading is all that costs. The address travels by standard input, where no list of
processes shows it.

The process often outlives a watch that is killed; so it is the one that keeps the receipt (`receipts.py`).
"""

from __future__ import annotations

import json
import logging
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from propstick.codec import from_text, to_text
from propstick.edges.receipts import Receipts
from propstick.errors import StoreError
from propstick.ports import Delivery
from propstick.records import Notice

log = logging.getLogger(__name__)

LONGEST_S = 60.0
"""A small Pi needs some seconds to load apprise before its own deadlines begin to run."""
IDLE_S = 60
"""A process that stays is used again within this time; twice as long without an order, and it ends itself."""
_COMMAND = (sys.executable, "-m", "propstick.edges.push_apart")


def once(order: str) -> str:
    """What a process that lives for this one order answers.

    Raises:
        OSError: it could not be begun, or has failed.
        TimeoutError: it did not end.
    """
    try:
        return subprocess.run(
            _COMMAND, input=order, capture_output=True, text=True, timeout=LONGEST_S, check=False
        ).stdout
    except subprocess.TimeoutExpired:
        raise TimeoutError from None


class Staying:
    """Processes that stay for the next order, one order at a time each; for channels of many sites.

    There are as many as orders come at once. A process that does not answer is ended, and with it no order
    but its own.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._idle: list[_Staying] = []

    def __call__(self, order: str) -> str:
        """As `once`."""
        process = self._taken() or _Staying(_begun())
        try:
            answer = process.asked(order)
        except BaseException:
            process.end()
            raise
        process.idle_since_s = time.monotonic()
        with self._lock:
            self._idle.append(process)
        return answer

    def close(self) -> None:
        """Ends them."""
        with self._lock:
            processes, self._idle = self._idle, []
        for process in processes:
            process.end()

    def _taken(self) -> _Staying | None:
        """The one used last, and the end of those that may be about to end themselves."""
        fresh_s = time.monotonic() - IDLE_S
        with self._lock:
            stale = [one for one in self._idle if one.idle_since_s < fresh_s]
            self._idle = [one for one in self._idle if one.idle_since_s >= fresh_s]
            found = self._idle.pop() if self._idle else None
        for process in stale:
            process.end()
        return found


def _begun() -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [*_COMMAND, "stay"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        bufsize=0,
    )


@dataclass
class _Staying:
    process: subprocess.Popen[bytes]
    idle_since_s: float = 0.0

    def asked(self, order: str) -> str:
        """The answer to one order, a line each."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(order.encode() + b"\n")
        watcher = select.poll()
        watcher.register(self.process.stdout, select.POLLIN)
        until_s, answer = time.monotonic() + LONGEST_S, b""
        while not answer.endswith(b"\n"):
            left_s = until_s - time.monotonic()
            if left_s <= 0 or not watcher.poll(left_s * 1000):
                raise TimeoutError
            got = os.read(self.process.stdout.fileno(), 4096)
            if not got:
                raise OSError("the process has ended")
            answer += got
        return answer.decode()

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()


class ApartChannel:
    """An address in apprise's notation, served by another process.

    Args:
        url: Holds secrets: never logged, never part of a result.
        name: What the outbox and the log call it.
        errand: Has an order carried out and gives the answer.
        receipts: Folder where what was taken is noted, so that a watch killed meanwhile does not send it
            again; None: nothing is noted.
    """

    def __init__(
        self, url: str, name: str, errand: Callable[[str], str] = once, *, receipts: Path | None = None
    ) -> None:
        self.name = name
        self._url = url
        self._errand = errand
        self._receipts = receipts

    def __repr__(self) -> str:
        return f"ApartChannel({self.name!r}, ***)"

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        """Hands the notice over. Never raises; blocks until it is answered."""
        order = json.dumps(
            {
                "url": self._url,
                "name": self.name,
                "notice": to_text(notice),
                "link": link,
                "receipts": None if self._receipts is None else str(self._receipts),
            }
        )
        try:
            return Delivery(**json.loads(self._errand(order)))
        except TimeoutError:
            return Delivery(ok=False, detail=f"no end after {LONGEST_S:.0f} s")
        except (OSError, ValueError, TypeError) as error:
            log.warning("push-process-fault channel=%s kind=%s", self.name, type(error).__name__)
            return Delivery(ok=False, detail="the sending process failed")


def main(words: list[str]) -> int:
    """Reads one order from standard input, or order after order; carries each out and writes how it went."""
    if words != ["stay"]:
        return _carry_out(sys.stdin.read())
    signal.alarm(2 * IDLE_S)
    while order := sys.stdin.readline():
        signal.alarm(0)
        _carry_out(order)
        signal.alarm(2 * IDLE_S)
    return 0


def _carry_out(text: str) -> int:
    try:
        order = json.loads(text)
        notice = from_text(order["notice"], of=Notice)
    except (ValueError, KeyError, TypeError, StoreError):
        print(json.dumps({"ok": False, "detail": "the order could not be read", "final": True}), flush=True)
        return 2
    signal.alarm(round(LONGEST_S))  # one that outlives its watch must not keep the next from sending
    result = _handed_over(order, notice)
    signal.alarm(0)
    print(json.dumps({"ok": result.ok, "detail": result.detail, "final": result.final}), flush=True)
    return 0


def _handed_over(order: dict, notice: Notice) -> Delivery:
    from propstick.edges.push import AppriseChannel

    channel = AppriseChannel(order["url"], order["name"])
    if order["receipts"] is None:
        return channel.send(notice, link=order["link"])
    # What was begun is finished, and noted, whoever is being stopped: it takes some seconds at most.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.SIG_IGN)
    with Receipts(Path(order["receipts"])).of(channel.name, notice.id) as receipt:
        if receipt.is_signed():
            return Delivery(ok=True, detail="taken before, when the watch was killed")
        result = channel.send(notice, link=order["link"])
        if result.ok:
            receipt.sign()
    return result


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
