"""What the watch last said, ready to be sent: read once a row, however many look on.

One task looks at the store every second for a new row, request or sowing: three numbers. Only when one
of them has moved is the live view read, completed and made into bytes; every stream and every
`GET /v1/now` sends the same.
"""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from anyio import to_thread

from propstick.errors import StoreError
from propstick.ports import Clock
from propstick.times import utc_text
from propstick_api.board import completed

if TYPE_CHECKING:
    from propstick_api.deps import Site

log = logging.getLogger(__name__)

LOOK_EVERY_S = 1.0
STALE_S = 3 * LOOK_EVERY_S
REST_AFTER_S = 60.0
"""So long after the last question a garden among many is let be. Our choice."""
LATE_STEPS = 3
MOST_STREAMS = 256


@dataclass(frozen=True)
class Board:
    """The live view as of one row.

    Attributes:
        row_s: The row, UTC seconds.
        step_s: Seconds between rows.
        view: The object of `GET /v1/now` without `now`, `age_s` and `health`.
        rest: The same as JSON text without its opening brace.
    """

    row_s: int
    step_s: int
    view: dict[str, Any]
    rest: bytes

    def body(self, now_s: int, *, health: str) -> bytes:
        """The whole object at a moment."""
        head = f'{{"now":"{utc_text(now_s)}","age_s":{max(0, now_s - self.row_s)},"health":"{health}",'
        return head.encode() + self.rest


@dataclass(frozen=True)
class Health:
    """How the watch and its store do.

    Attributes:
        status: `watching`, `late`, `not-started` or `store-trouble`.
        age_s: Seconds since the last row; None before the first.
    """

    status: str
    detail: str
    row_s: int | None
    age_s: int | None
    step_s: int

    @property
    def is_good(self) -> bool:
        """Whether what the page shows is what the garden does."""
        return self.status == "watching"


class Live:
    """The board, and who waits for the next one.

    Args:
        door: Opens the store.
        step_s: Of the garden file, until a row says otherwise.
        rests: Looks only while somebody asks: of many gardens most are looked at by nobody just now.
    """

    def __init__(self, door: Callable[[], Site], *, clock: Clock, step_s: int, rests: bool = False) -> None:
        self._rests = rests
        self._asked_s = self._looked_s = float("-inf")
        self._door = door
        self._clock = clock
        self._step_s = step_s
        self._mark: tuple[Any, ...] | None = None
        self._trouble = ""
        self._changed: asyncio.Event | None = None
        self._task: asyncio.Task[None] | None = None
        self._looking: asyncio.Lock | None = None
        self._said = ""
        self.board: Board | None = None
        self.version = 0
        self.streams = 0
        self.is_ending = False

    async def start(self) -> None:
        """Looks once, then every second, on the loop this is called from; one that rests is woken."""
        if self._rests:
            return
        await self.look()
        self._task = asyncio.create_task(self._follow(), name="live")

    async def wake(self) -> None:
        """Somebody asks: what is shown is not older than some looks."""
        self._asked_s = time.monotonic()
        if not self._rests:
            return
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._follow(), name="live")
        if self._asked_s - self._looked_s > STALE_S:
            await self.look()

    async def stop(self) -> None:
        """Ends looking, and every stream."""
        self.end_streams()
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task
            self._task = None

    def end_streams(self) -> None:
        """Lets every stream end by itself: a server that stops would wait for them."""
        self.is_ending = True
        self._tell()

    async def look(self) -> None:
        """Reads the store's marks, and the board anew if one has moved."""
        if self._looking is None:
            self._looking = asyncio.Lock()
        async with self._looking:
            self._looked_s = time.monotonic()
            board = await self._new_board()
            self.board = board or self.board
            status = self.health().status
            if board is not None or status != self._said:
                self._said = status
                self.version += 1
                self._tell()

    async def _new_board(self) -> Board | None:
        try:
            board = await to_thread.run_sync(self._read)
        except StoreError as error:
            if error.message != self._trouble:
                log.warning("store-unreadable reason=%r", error.message)
            self._trouble = error.message
            return None
        self._trouble = ""
        return board

    async def after(self, version: int) -> Board | None:
        """The board as soon as it is another than that of `version`; None: the service ends."""
        while not self.is_ending:
            if self.board is not None and self.version != version:
                return self.board
            if self._changed is None:
                self._changed = asyncio.Event()
            await self._changed.wait()
        return None

    def body(self, board: Board) -> bytes:
        """A board as it is sent now."""
        return board.body(int(self._clock.wall_s()), health=self.health().status)

    def health(self) -> Health:
        """How old the last row is, by the clock the watch goes by."""
        now_s = int(self._clock.wall_s())
        if self.board is None:
            status = "store-trouble" if self._trouble else "not-started"
            return Health(
                status, self._trouble or "the watch has not done a row yet", None, None, self._step_s
            )
        row_s, step_s = self.board.row_s, self.board.step_s
        age_s = max(0, now_s - row_s)
        if age_s > LATE_STEPS * step_s:
            said = self._trouble or f"the last row is {age_s} s old, expected one every {step_s} s"
            return Health("late", said, row_s, age_s, step_s)
        if self._trouble:
            return Health("store-trouble", self._trouble, row_s, age_s, step_s)
        return Health("watching", "", row_s, age_s, step_s)

    def _tell(self) -> None:
        changed, self._changed = self._changed, None
        if changed is not None:
            changed.set()

    async def _follow(self) -> None:
        while not self._may_rest():
            await asyncio.sleep(LOOK_EVERY_S)
            try:
                await self.look()
            except Exception:  # one bad row must not end the page for good
                log.exception("live-fault")

    def _may_rest(self) -> bool:
        return self._rests and not self.streams and time.monotonic() - self._asked_s > REST_AFTER_S

    def _read(self) -> Board | None:
        """The new board, None where nothing has moved. Runs in a thread."""
        site = self._door()
        mark = _mark(site)
        if mark == self._mark:
            return None
        status = site.journal.status()
        if status is None:
            self._mark = mark
            return None
        view = completed(status, site)
        text = json.dumps(view, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        row_s = mark[0]
        self._mark = mark
        return Board(row_s, int(status["step_s"]), view, text[1:].encode())


_MARK = (
    "SELECT (SELECT row_s FROM progress WHERE site = ?), (SELECT max(id) FROM requests WHERE site = ?), "
    "(SELECT max(id) FROM sowing_changes)"
)


def _mark(site: Site) -> tuple[Any, ...]:
    """What has to move before the board does: row, requests, sowings. Asked every second, so plain SQL."""
    with site.store.cursor() as cursor:
        cursor.execute(site.store.sql(_MARK), (site.key, site.key))
        return tuple(cursor.fetchone())
